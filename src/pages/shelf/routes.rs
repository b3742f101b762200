//! The address of the shelf.

use actix_web::http::StatusCode;
use actix_web::web::{Data, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::ops::facts;
use super::plank::{Plank, planks};
use super::todo::{Line, lines};
use crate::http::sessions::Session;
use crate::http::{Role, Service};
use crate::pages::catalogue::{Step, steps};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::vessel::Shape;

/// Who may plan a cast, as at the door of the API.
const PLANNERS: &[Role] = &[Role::Bench, Role::Buyer];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(shelf_get);
}

#[derive(Template)]
#[template(path = "shelf/shelf.html", config = "src/pages/askama.toml")]
struct ShelfPage {
    frame: Frame,
    may_plan: bool,
    todo: Vec<Line>,
    more: i64,
    planks: Vec<Plank>,
    /// The way to a first cast, where nothing is on the shelf yet.
    steps: Vec<Step>,
    /// Whether whoever looks may go it.
    may: bool,
}

#[get("/")]
async fn shelf_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
) -> Result<HttpResponse, Refused> {
    let refused = |problem| Refused::new(&request, problem);
    crate::reorder::refreshed(&service).await.map_err(refused)?;
    let reader = Service::clone(&service);
    let found = service
        .read(move |conn| facts(conn, &reader))
        .await
        .map_err(refused)?;
    let today = service.today();
    let planks = planks(found.materials, &found.received, today)
        .map_err(|error| Refused::new(&request, error))?;
    let currency = service.base_currency();
    let steps = match planks.is_empty() {
        true => {
            service
                .read(move |conn| steps(conn, (today, currency)))
                .await
        }
        false => Ok(Vec::new()),
    };
    let shown = ShelfPage {
        steps: steps.map_err(refused)?,
        may: session.caller.roles.allows(&[Role::Buyer]),
        frame: Frame::new("Shelf", Place::Shelf, &service, Some(&session)),
        may_plan: session.caller.roles.allows(PLANNERS),
        todo: lines(&found.warnings, &found.casts, &found.counts, today),
        more: found.warnings_more,
        planks,
    };
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}
