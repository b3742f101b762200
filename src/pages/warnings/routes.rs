//! The addresses of the warnings.

use std::collections::HashMap;

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Path, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;
use serde::Deserialize;
use serde_json::json;

use super::rows::{Failed, Row, rows};
use crate::base::Error;
use crate::http::sessions::Session;
use crate::http::{Page, Problem, Role, Service, document_read};
use crate::pages::form::{can_be_put_right, of_session};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::stock::warnings::{warning_acknowledge, warnings_list};

/// Who may see to a warning, as at the door of the API.
const HANDLERS: &[Role] = &[Role::Bench, Role::Buyer];
/// The most warnings on a page.
const SHOWN_MAX: i64 = 100;

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(warnings_get).service(acknowledge_post);
}

#[derive(Template)]
#[template(path = "warnings/warnings.html", config = "src/pages/askama.toml")]
struct WarningsPage {
    frame: Frame,
    form_key: String,
    may: bool,
    rows: Vec<Row>,
    /// After which warning the next page begins.
    next: Option<i64>,
}

/// Where the page begins. What is not understood is passed over.
#[derive(Default, Deserialize)]
struct Asked {
    after: Option<String>,
}

#[get("/warnings")]
async fn warnings_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let after = asked.after.as_ref().and_then(|after| after.parse().ok());
    let shown = warnings_page(&service, &session, after.unwrap_or(0), None).await;
    let shown = shown.map_err(|problem| Refused::new(&request, problem))?;
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

async fn warnings_page(
    service: &Service,
    session: &Session,
    after: i64,
    failed: Option<Failed>,
) -> Result<WarningsPage, Problem> {
    crate::reorder::refreshed(service).await?;
    let limit = SHOWN_MAX;
    let mut found = service
        .read(move |conn| warnings_list(conn, true, Page { after, limit }))
        .await?;
    let more = found.len() as i64 > limit;
    found.truncate(limit as usize);
    Ok(WarningsPage {
        frame: Frame::new("Warnings", Place::Shelf, service, Some(session)),
        form_key: session.form_key.clone(),
        may: session.caller.roles.allows(HANDLERS),
        next: found.last().filter(|_| more).map(|last| last.id),
        rows: rows(found, failed, (service.today(), service.time_zone())),
    })
}

#[post("/warnings/{id}/acknowledge")]
async fn acknowledge_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    id: Path<String>,
    form: Form<HashMap<String, String>>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let value = |name: &str| form.get(name).map_or("", String::as_str);
    of_session(&request, &session, value("form_key")).map_err(refused)?;
    let id: i64 = id
        .parse()
        .map_err(|_| refused(Error::not_found("warning", id.as_str()).into()))?;
    let note = value("note").trim().to_owned();
    let (actor, document) = (session.caller.name.clone(), json!({ "note": note }));
    let outcome = service
        .run(actor, move |tx| {
            warning_acknowledge(tx, id, &document_read(document)?)
        })
        .await;
    match outcome {
        Ok(_) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, format!("/warnings#warning-{id}")))
            .finish()),
        Err(problem) if can_be_put_right(&problem) => {
            let status = problem.status_code();
            let detail = problem.errors().first().map(|error| error.detail.clone());
            let failed = Failed {
                id,
                note,
                detail: detail.unwrap_or_else(|| problem.words().1.to_owned()),
            };
            // The page begins with the warning, so that its note is seen wherever it stands.
            let shown = warnings_page(&service, &session, id - 1, Some(failed)).await;
            page(status, &shown.map_err(refused)?).map_err(|error| refused(error.into()))
        }
        Err(problem) => Err(refused(problem)),
    }
}
