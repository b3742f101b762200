//! The address of the shelf.

use actix_web::http::StatusCode;
use actix_web::web::{Data, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::ops::facts;
use super::plank::{Plank, planks};
use super::todo::{Line, lines};
use crate::http::Service;
use crate::http::sessions::Session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::vessel::Shape;

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(shelf_get);
}

#[derive(Template)]
#[template(path = "shelf/shelf.html", config = "src/pages/askama.toml")]
struct ShelfPage {
    frame: Frame,
    todo: Vec<Line>,
    more: i64,
    planks: Vec<Plank>,
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
    let shown = ShelfPage {
        frame: Frame::new("Shelf", Place::Shelf, &service, Some(&session)),
        todo: lines(&found.warnings, &found.casts, &found.counts, today),
        more: found.warnings_more,
        planks,
    };
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}
