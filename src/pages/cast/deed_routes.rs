//! The addresses at which a cast is moved, cancelled, or taken back a step.

use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, post};

use super::deeds::{Deed, Failed, Typed};
use super::ops::deed_run;
use super::routes::cast_page;
use crate::base::Error;
use crate::http::sessions::Session;
use crate::http::{NoBody, Problem, Service};
use crate::pages::form::{can_be_put_right, of_session};
use crate::pages::frame::page;
use crate::pages::refusal::Refused;

pub(super) fn routes(config: &mut ServiceConfig) {
    config.service(deed_post);
}

/// A form that was sent: who sent it, of which cast, and what was typed.
struct Sent {
    request: HttpRequest,
    session: Session,
    code: String,
    typed: Typed,
}

#[post("/casts/{code}/{deed:move|cancel|undo}")]
async fn deed_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    of: Path<(String, Deed)>,
    form: Form<Typed>,
) -> Result<HttpResponse, Refused> {
    let ((code, deed), typed) = (of.into_inner(), form.into_inner());
    let sent = Sent {
        request,
        session,
        code,
        typed,
    };
    done(&service, deed, sent).await
}

/// Does what a form asks for, and leads to the cast.
async fn done(service: &Service, deed: Deed, sent: Sent) -> Result<HttpResponse, Refused> {
    let Sent {
        request,
        session,
        code,
        typed,
    } = sent;
    let refused = |problem: Problem| Refused::new(&request, problem);
    let value = |name: &str| typed.get(name).map_or("", String::as_str);
    of_session(&request, &session, value("form_key")).map_err(refused)?;
    let document = deed.document(&typed);
    let known = value("known").parse::<i64>().ok();
    let kept = serde_json::to_vec(&(&document, known))
        .map_err(|error| refused(Error::internal(error).into()))?;
    let once = NoBody::of_form(&request, &session.caller, value("once"), &kept).map_err(refused)?;
    let of = code.clone();
    let outcome = service
        .reply(once, move |tx| deed_run(tx, &of, deed, document, known))
        .await;
    match outcome {
        Ok(_) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, format!("/casts/{code}")))
            .finish()),
        Err(problem) if can_be_put_right(&problem) => {
            let status = problem.status_code();
            let failed = Failed {
                deed,
                typed,
                errors: problem.errors().to_vec(),
                detail: problem.words().1.to_owned(),
            };
            let shown = cast_page(service, &session, code, Some(failed)).await;
            let shown = shown.map_err(refused)?;
            page(status, &shown).map_err(|error| refused(error.into()))
        }
        Err(problem) => Err(refused(problem)),
    }
}
