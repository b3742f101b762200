//! Movements: taken back.

use actix_web::post;
use actix_web::web::{Data, Path};
use utoipa_actix_web::service_config::ServiceConfig;

use super::event;
use crate::http::{Answer, Body, ProblemBody, Service};
use crate::stock::reversing::{ReverseIn, movement_reverse};
use crate::stock::views::LotView;

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(movement_reversing);
}

/// Takes a movement back: exactly its quantity and value, once.
///
/// It stays in the books, and so does what takes it back. A cast's movements are taken back by undoing the cast's step.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The movement's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = ReverseIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such movement", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It was taken back already, belongs to others, or the stock is no longer there", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/movements/{id}/reverse")]
async fn movement_reversing(
    service: Data<Service>,
    id: Path<i64>,
    body: Body<ReverseIn>,
) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| {
        movement_reverse(tx, *id, &input)
    })
    .await
}
