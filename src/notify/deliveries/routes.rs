//! The routes of deliveries. For administrators only: a message tells what the books hold.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get, post};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::ops::{deliveries_list, delivery_resend, delivery_show};
use super::view::{Delivery, DeliveryState, DeliveryWithPayload};
use crate::http::{Answer, List, NoBody, PageQuery, ProblemBody, Query, Reply, Service};

pub(in crate::notify) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(delivery_list)
        .service(delivery_get)
        .service(delivery_resending);
}

/// Which deliveries.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct DeliveriesQuery {
    /// How they stand; in every state unless said.
    state: Option<DeliveryState>,
    /// The id of a webhook; to every receiver unless said.
    webhook: Option<i64>,
}

/// Lists deliveries, oldest first.
///
/// What was delivered or dropped is forgotten after 30 days; what is dead is kept until it is resent.
#[utoipa::path(
    tag = "notify",
    params(PageQuery, DeliveriesQuery),
    responses(
        (status = 200, description = "A page of deliveries", body = List<Delivery>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/deliveries")]
async fn delivery_list(
    service: Data<Service>,
    page: Query<PageQuery>,
    query: Query<DeliveriesQuery>,
    request: HttpRequest,
) -> Answer {
    let page = page.page(service.limits())?;
    let which = (query.state, query.webhook);
    let rows = service
        .read(move |conn| deliveries_list(conn, which, page))
        .await?;
    List::from_rows(rows, page, |delivery| delivery.id).answer_to(&request)
}

/// Shows a delivery with its message.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The delivery's id")),
    responses(
        (status = 200, description = "The delivery", body = DeliveryWithPayload),
        (status = 404, description = "There is no such delivery", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/deliveries/{id}")]
async fn delivery_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let delivery = service.read(move |conn| delivery_show(conn, *id)).await?;
    Ok(HttpResponse::Ok().json(delivery))
}

/// Sends a message again that was given up, or that its receiver has lost: at once, with all attempts ahead, under the same
/// message id.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The delivery's id")),
    responses(
        (status = 200, description = "The delivery, which waits", body = Delivery),
        (status = 404, description = "There is no such delivery", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It waits already, or was dropped", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/deliveries/{id}/resend")]
async fn delivery_resending(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| Reply::ok(&delivery_resend(tx, *id)?))
        .await
}
