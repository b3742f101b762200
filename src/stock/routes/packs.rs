//! Packs: opened, counted, spilled, written off, held back and let go.

use actix_web::post;
use actix_web::web::{Data, Path};
use utoipa_actix_web::service_config::ServiceConfig;

use super::event;
use crate::http::{Answer, Body, NoBody, ProblemBody, Service};
use crate::stock::counting::{CountIn, pack_count};
use crate::stock::events::{HoldIn, OpenIn, pack_hold, pack_open, pack_release};
use crate::stock::losing::{Loss, LossIn, pack_lose};
use crate::stock::views::LotView;

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(pack_opening)
        .service(pack_counting)
        .service(pack_spilling)
        .service(pack_writing_off)
        .service(pack_holding)
        .service(pack_releasing);
}

/// Opens a pack: its open life begins.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The pack's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = OpenIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such pack", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It is open already, or the period of the day is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/packs/{id}/open")]
async fn pack_opening(service: Data<Service>, id: Path<i64>, body: Body<OpenIn>) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| pack_open(tx, *id, &input)).await
}

/// Counts a pack, by hand or by weighing.
///
/// What is found is true: the difference to the books is posted, and whatever is recorded later for days before the count is
/// evened out against it.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The pack's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = CountIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such pack", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "Later entries or casts in progress stand against it, or the period of the day is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/packs/{id}/count")]
async fn pack_counting(service: Data<Service>, id: Path<i64>, body: Body<CountIn>) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| pack_count(tx, *id, &input)).await
}

/// Records a spill.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The pack's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = LossIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such pack", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "The period of the day is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/packs/{id}/spill")]
async fn pack_spilling(service: Data<Service>, id: Path<i64>, body: Body<LossIn>) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| {
        pack_lose(tx, *id, Loss::Spill, &input)
    })
    .await
}

/// Writes off what was thrown away: expired, contaminated, lost, the heel.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The pack's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = LossIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such pack", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "The period of the day is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/packs/{id}/write-off")]
async fn pack_writing_off(service: Data<Service>, id: Path<i64>, body: Body<LossIn>) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| {
        pack_lose(tx, *id, Loss::WriteOff, &input)
    })
    .await
}

/// Holds a pack back: nothing is promised from it, and what was is promised from others.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The pack's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = HoldIn,
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such pack", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/packs/{id}/hold")]
async fn pack_holding(service: Data<Service>, id: Path<i64>, body: Body<HoldIn>) -> Answer {
    let (input, request) = body.split();
    event(&service, request, move |tx| pack_hold(tx, *id, &input)).await
}

/// Lets a held pack go.
#[utoipa::path(
    tag = "stock",
    params(
        ("id" = i64, Path, description = "The pack's id"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    responses(
        (status = 200, description = "The lot as it is now", body = LotView, headers(("ETag" = String, description = "Its version"))),
        (status = 404, description = "There is no such pack", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It is not held", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/packs/{id}/release")]
async fn pack_releasing(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    event(&service, request, move |tx| pack_release(tx, *id)).await
}
