//! The address of the casts.

use actix_web::http::StatusCode;
use actix_web::web::{Data, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::ops::facts;
use super::rows::{Done, ToCome, Waiting, done, to_come, waiting};
use crate::http::sessions::Session;
use crate::http::{Role, Service};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;

/// Who may plan, as at the door of the API.
const PLANNERS: &[Role] = &[Role::Bench, Role::Buyer];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(casts_get);
}

#[derive(Template)]
#[template(path = "casts/casts.html", config = "src/pages/askama.toml")]
struct CastsPage {
    frame: Frame,
    may_plan: bool,
    to_come: Vec<ToCome>,
    waiting: Vec<Waiting>,
    done: Vec<Done>,
    /// Whether the reader may count chips.
    may: bool,
}

/// Who may count chips, as at the doors of the API.
const BENCH: &[Role] = &[Role::Bench];

#[get("/casts")]
async fn casts_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
) -> Result<HttpResponse, Refused> {
    let currency = service.base_currency();
    let found = service
        .read(move |conn| facts(conn, currency))
        .await
        .map_err(|problem| Refused::new(&request, problem))?;
    let today = service.today();
    let shown = CastsPage {
        frame: Frame::new("Casts", Place::Casts, &service, Some(&session)),
        may_plan: session.caller.roles.allows(PLANNERS),
        to_come: to_come(found.booked, today),
        waiting: waiting(found.poured, &found.recipes, today),
        done: done(found.demolded, &found.recipes, today),
        may: session.caller.roles.allows(BENCH),
    };
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}
