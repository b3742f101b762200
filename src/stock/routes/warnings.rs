//! Warnings: listed and acknowledged.

use actix_web::web::{Data, Path, Query};
use actix_web::{HttpRequest, get, post};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::{Answer, Body, List, PageQuery, ProblemBody, Reply, Service};
use crate::stock::warnings::{AcknowledgeIn, Warning, warning_acknowledge, warnings_list};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(warning_list).service(warning_acknowledging);
}

/// Which warnings.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum Which {
    /// Those whose cause stands, acknowledged or not.
    Open,
    /// Those that cleared themselves too.
    #[default]
    All,
}

#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct WarningsQuery {
    /// `open` for those whose cause stands; `all` unless said.
    #[param(inline)]
    #[serde(default)]
    state: Which,
}

/// Lists warnings, oldest first.
#[utoipa::path(
    tag = "warnings",
    params(PageQuery, WarningsQuery),
    responses(
        (status = 200, description = "A page of warnings", body = List<Warning>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/warnings")]
async fn warning_list(
    service: Data<Service>,
    page: Query<PageQuery>,
    query: Query<WarningsQuery>,
    request: HttpRequest,
) -> Answer {
    let page = page.page()?;
    let open_only = query.state == Which::Open;
    let rows = service
        .read(move |conn| warnings_list(conn, open_only, page))
        .await?;
    List::from_rows(rows, page, |warning| warning.id).answer_to(&request)
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
