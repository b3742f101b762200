//! The addresses of price corrections.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get, post};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::costing::corrections::input::PriceCorrectionIn;
use crate::costing::corrections::ops::{correction_get, correction_list, price_correct};
use crate::costing::corrections::view::PriceCorrection;
use crate::http::{Answer, Body, List, PageQuery, ProblemBody, Query, Reply, Service};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(price_correction_create)
        .service(price_correction_list)
        .service(price_correction_get);
}

/// Corrects a price after the delivery: a credit note, or a price that turned out otherwise.
///
/// What falls on the rest of a lot changes its value; what falls on casts is posted to the grants charged for them, as
/// `price_variance` in the open period; what falls on losses is waste.
#[utoipa::path(
    tag = "costing",
    params(("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body = PriceCorrectionIn,
    responses(
        (status = 201, description = "It was posted", body = PriceCorrection, headers(("Location" = String, description = "Its address"))),
        (status = 404, description = "There is no such line or lot", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "The line has not arrived, or the period is closed", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/price-corrections")]
async fn price_correction_create(service: Data<Service>, body: Body<PriceCorrectionIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            let correction = price_correct(tx, &input)?;
            let address = format!("/v1/price-corrections/{}", correction.id);
            Reply::created(address, &correction)
        })
        .await
}

/// Lists price corrections, oldest first.
#[utoipa::path(
    tag = "costing",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of corrections", body = List<PriceCorrection>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/price-corrections")]
async fn price_correction_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service
        .read(move |conn| correction_list(conn, page))
        .await?;
    List::from_rows(rows, page, |correction| correction.id).answer_to(&request)
}

/// Shows a price correction and who bears it.
#[utoipa::path(
    tag = "costing",
    params(("id" = i64, Path, description = "The correction's id")),
    responses(
        (status = 200, description = "The correction", body = PriceCorrection),
        (status = 404, description = "There is no such correction", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/price-corrections/{id}")]
async fn price_correction_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let correction = service.read(move |conn| correction_get(conn, *id)).await?;
    Ok(HttpResponse::Ok().json(correction))
}
