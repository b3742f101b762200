//! The routes of webhooks. For administrators only.
//!
//! Invariant: a secret is sent once: a repeat under the same idempotency key makes no second webhook, and its answer is the
//! first one's without the secret.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use utoipa_actix_web::service_config::ServiceConfig;

use super::ops;
use super::view::{Webhook, WebhookIn, WebhookMade};
use super::worker::Webhooks;
use crate::http::{Answer, Body, List, NoBody, PageQuery, ProblemBody, Query, Reply, Service};
use crate::notify::deliveries::view::Delivery;

/// Adds the operations of webhooks.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(webhook_create)
        .service(webhook_list)
        .service(webhook_get)
        .service(webhook_remove)
        .service(webhook_try);
}

/// Makes a webhook. The secret that its messages are signed with is in this answer and nowhere else.
///
/// A message is a POST of JSON with the headers `webhook-id`, `webhook-timestamp` and `webhook-signature` of the convention
/// Standard Webhooks. It is sent at least once, in every attempt under the same id, until it is answered with a status of 2xx;
/// redirects are not followed.
#[utoipa::path(
    tag = "notify",
    request_body = WebhookIn,
    params(("Idempotency-Key" = Option<String>, Header, description = "A repeat with the same key makes no second webhook; its answer is without the secret")),
    responses(
        (status = 201, description = "The webhook, with its secret", body = WebhookMade, headers(("Location" = String, description = "Its address"))),
        (status = 422, description = "A value is not right, or the address may not be sent to", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/webhooks")]
async fn webhook_create(service: Data<Service>, body: Body<WebhookIn>) -> Answer {
    let (input, request) = body.split();
    let listed = Webhooks::of(&service)?.listed().clone();
    service
        .write(request, move |tx| {
            let made = ops::webhook_create(tx, &listed, &input)?;
            let location = format!("/v1/webhooks/{}", made.webhook.id);
            let without_secret = &made.webhook;
            Reply::created(location, &made)?.kept_as(without_secret)
        })
        .await
}

/// Lists webhooks, oldest first, without their secrets; those removed too.
#[utoipa::path(
    tag = "notify",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of webhooks", body = List<Webhook>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/webhooks")]
async fn webhook_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service
        .read(move |conn| ops::webhooks_list(conn, page))
        .await?;
    List::from_rows(rows, page, |webhook| webhook.id).answer_to(&request)
}

/// Shows a webhook, without its secret.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The webhook's id")),
    responses(
        (status = 200, description = "The webhook", body = Webhook),
        (status = 404, description = "There is no such webhook", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/webhooks/{id}")]
async fn webhook_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let webhook = service
        .read(move |conn| ops::webhook_show(conn, *id))
        .await?;
    Ok(HttpResponse::Ok().json(webhook))
}

/// Removes a webhook: nothing is sent to it from now on, and what waits for it is dropped. It stays in the list.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The webhook's id")),
    responses(
        (status = 204, description = "It is removed"),
        (status = 404, description = "There is no such webhook", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[delete("/v1/webhooks/{id}")]
async fn webhook_remove(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| {
            ops::webhook_remove(tx, *id)?;
            Ok(Reply::nothing())
        })
        .await
}

/// Sends a message of the topic `webhook.test` to a webhook, whatever it asks for. The delivery says what became of it.
#[utoipa::path(
    tag = "notify",
    params(("id" = i64, Path, description = "The webhook's id")),
    responses(
        (status = 201, description = "The delivery, which waits", body = Delivery, headers(("Location" = String, description = "Its address"))),
        (status = 404, description = "There is no such webhook", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It was removed", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/webhooks/{id}/test")]
async fn webhook_try(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| {
            let delivery = ops::webhook_try(tx, *id)?;
            Reply::created(format!("/v1/deliveries/{}", delivery.id), &delivery)
        })
        .await
}
