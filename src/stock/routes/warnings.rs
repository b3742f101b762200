//! Warnings: acknowledged. They are listed by the reorder room, which brings them up to date first.

use actix_web::post;
use actix_web::web::{Data, Path};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::{Answer, Body, ProblemBody, Reply, Service};
use crate::stock::warnings::{AcknowledgeIn, Warning, warning_acknowledge};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(warning_acknowledging);
}

/// Acknowledges a warning, with a note of what is being done about it.
#[utoipa::path(
    tag = "warnings",
    params(
        ("id" = i64, Path, description = "The warning's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = AcknowledgeIn,
    responses(
        (status = 200, description = "The warning as it is now", body = Warning),
        (status = 404, description = "There is no such warning", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It has cleared itself already", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/warnings/{id}/acknowledge")]
async fn warning_acknowledging(
    service: Data<Service>,
    id: Path<i64>,
    body: Body<AcknowledgeIn>,
) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            Reply::ok(&warning_acknowledge(tx, *id, &input)?)
        })
        .await
}
