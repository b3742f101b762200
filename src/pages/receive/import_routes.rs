//! The address of what became of a file.

use actix_web::http::StatusCode;
use actix_web::web::{Data, Path, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;
use serde::Deserialize;

use super::file_routes::number;
use super::ops::{circumstances, import};
use super::overview::moment;
use super::result::{Outcome, codes_of, outcome};
use crate::http::Service;
use crate::http::sessions::Session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;

pub(super) fn routes(config: &mut ServiceConfig) {
    config.service(import_get);
}

#[derive(Template)]
#[template(path = "receive/import.html", config = "src/pages/askama.toml")]
struct ImportPage {
    frame: Frame,
    id: i64,
    received: String,
    outcome: Outcome,
}

/// Which of the rows are shown. What is not understood is passed over.
#[derive(Default, Deserialize)]
struct Asked {
    after: Option<String>,
}

#[get("/receive/imports/{id}")]
async fn import_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    id: Path<String>,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let id = number(&request, "import", &id)?;
    let after = asked.after.as_ref().and_then(|after| after.parse().ok());
    let after = after.unwrap_or(0);
    let (found, items) = service
        .read(move |conn| import(conn, id, |found| codes_of(found, after)))
        .await
        .map_err(|problem| Refused::new(&request, problem))?;
    let (today, currency) = circumstances(&service);
    let at = moment(found.created_at, service.time_zone(), today);
    let shown = ImportPage {
        frame: Frame::new("Received", Place::Receive, &service, Some(&session)),
        id,
        received: format!("{at}, by {}", found.created_by),
        outcome: outcome(&found, after, (&items, currency)),
    };
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}
