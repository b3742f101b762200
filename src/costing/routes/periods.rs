//! The addresses of periods.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get, post};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::costing::periods::ops::{period_close, period_get, period_heads, period_list};
use crate::costing::periods::view::{ClosedPeriod, PeriodIn};
use crate::http::{Answer, Body, List, PageQuery, ProblemBody, Query, Reply, Service};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(period_create)
        .service(period_list_get)
        .service(period_show)
        .service(period_heads_get);
}

/// Closes the books through a day. It is final.
///
/// Nothing can be written under a closed day; a later correction lands in the open period. The reports over the period's
/// days are kept as they are, in every grouping and format, and are given again byte for byte.
#[utoipa::path(
    tag = "costing",
    params(("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body = PeriodIn,
    responses(
        (status = 201, description = "It is closed", body = ClosedPeriod, headers(("Location" = String, description = "Its address"))),
        (status = 409, description = "The days are closed already", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/periods")]
async fn period_create(service: Data<Service>, body: Body<PeriodIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            let period = period_close(tx, &input)?;
            Reply::created(format!("/v1/periods/{}", period.id), &period)
        })
        .await
}

/// Lists closed periods, oldest first.
#[utoipa::path(
    tag = "costing",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of periods", body = List<ClosedPeriod>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/periods")]
async fn period_list_get(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service.read(move |conn| period_list(conn, page)).await?;
    List::from_rows(rows, page, |period| period.id).answer_to(&request)
}

/// Shows a closed period and the reports kept with it.
#[utoipa::path(
    tag = "costing",
    params(("id" = i64, Path, description = "The period's id")),
    responses(
        (status = 200, description = "The period", body = ClosedPeriod),
        (status = 404, description = "There is no such period", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/periods/{id}")]
async fn period_show(service: Data<Service>, id: Path<i64>) -> Answer {
    let period = service.read(move |conn| period_get(conn, *id)).await?;
    Ok(HttpResponse::Ok().json(period))
}

/// Gives the heads of all lots as they stood when the period was closed: the file that `heeltap verify --heads` takes.
#[utoipa::path(
    tag = "costing",
    params(("id" = i64, Path, description = "The period's id")),
    responses(
        (status = 200, description = "The heads, one line for each lot, and their digest", body = String, content_type = "text/csv"),
        (status = 404, description = "There is no such period", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/periods/{id}/heads")]
async fn period_heads_get(service: Data<Service>, id: Path<i64>) -> Answer {
    let heads = service.read(move |conn| period_heads(conn, *id)).await?;
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8")
        .body(heads))
}
