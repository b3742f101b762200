//! The routes of tokens. For administrators only.
//!
//! Invariant: a secret is sent once and stands nowhere: a repeat under the same idempotency key makes no second token,
//! and its answer is the first one's without the secret.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::tokens::{self, TokenIn, TokenMade, TokenOut};
use crate::http::{Answer, Body, List, NoBody, PageQuery, ProblemBody, Query, Reply, Service};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(token_create)
        .service(token_list)
        .service(token_get)
        .service(token_revoke);
}

/// Makes a token. Its secret is in this answer and nowhere else.
#[utoipa::path(
    tag = "tokens",
    request_body = TokenIn,
    params(("Idempotency-Key" = Option<String>, Header, description = "A repeat with the same key makes no second token; its answer is without the secret")),
    responses(
        (status = 201, description = "The token, with its secret", body = TokenMade, headers(("Location" = String, description = "Its address"))),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/tokens")]
async fn token_create(service: Data<Service>, body: Body<TokenIn>) -> Answer {
    let (input, request) = body.split();
    let maker = Service::clone(&service);
    service
        .write(request, move |tx| {
            let made = tokens::token_create(tx, maker.entropy(), input)?;
            Reply::created(format!("/v1/tokens/{}", made.id), &made)?
                .kept_as(&made.without_secret())
        })
        .await
}

/// Lists the tokens, without their secrets; those that ended and those revoked too.
#[utoipa::path(
    tag = "tokens",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of tokens", body = List<TokenOut>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/tokens")]
async fn token_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service
        .read(move |conn| tokens::token_list(conn, page))
        .await?;
    List::from_rows(rows, page, |token| token.id).answer_to(&request)
}

/// Shows a token, without its secret.
#[utoipa::path(
    tag = "tokens",
    params(("id" = i64, Path, description = "The token's id")),
    responses(
        (status = 200, description = "The token", body = TokenOut),
        (status = 404, description = "There is no such token", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/tokens/{id}")]
async fn token_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let token = service
        .read(move |conn| tokens::token_get(conn, *id))
        .await?;
    Ok(HttpResponse::Ok().json(token))
}

/// Revokes a token: it opens nothing from now on. It stays in the list, since its name stands in the books.
#[utoipa::path(
    tag = "tokens",
    params(("id" = i64, Path, description = "The token's id")),
    responses(
        (status = 204, description = "It is revoked"),
        (status = 404, description = "There is no such token", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[delete("/v1/tokens/{id}")]
async fn token_revoke(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| {
            tokens::token_revoke(tx, *id)?;
            Ok(Reply::nothing())
        })
        .await
}
