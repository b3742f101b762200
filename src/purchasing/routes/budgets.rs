//! The addresses of budgets.

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, delete, get, post};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::{Answer, Body, List, NoBody, PageQuery, ProblemBody, Query, Reply, Service};
use crate::purchasing::ops::{
    BudgetIn, BudgetView, budget_get, budget_list, budget_set, budget_withdraw,
};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(budget_create)
        .service(budget_list_get)
        .service(budget_show)
        .service(budget_delete);
}

/// Sets what may be ordered in a stretch of days. What the advice says to order keeps within what is left of it.
#[utoipa::path(
    tag = "purchasing",
    params(("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body = BudgetIn,
    responses(
        (status = 201, description = "It is set", body = BudgetView, headers(("Location" = String, description = "Its address"))),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/purchase-budgets")]
async fn budget_create(service: Data<Service>, body: Body<BudgetIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            let budget = budget_set(tx, &input)?;
            Reply::created(format!("/v1/purchase-budgets/{}", budget.id), &budget)
        })
        .await
}

/// Lists budgets with what is left of them, oldest first; the withdrawn ones too.
#[utoipa::path(
    tag = "purchasing",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of budgets", body = List<BudgetView>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/purchase-budgets")]
async fn budget_list_get(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let (page, currency) = (query.page(service.limits())?, service.base_currency());
    let rows = service
        .read(move |conn| budget_list(conn, page, currency))
        .await?;
    List::from_rows(rows, page, |budget| budget.id).answer_to(&request)
}

/// Shows a budget with what is left of it.
#[utoipa::path(
    tag = "purchasing",
    params(("id" = i64, Path, description = "The budget's id")),
    responses(
        (status = 200, description = "The budget", body = BudgetView),
        (status = 404, description = "There is no such budget", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/purchase-budgets/{id}")]
async fn budget_show(service: Data<Service>, id: Path<i64>) -> Answer {
    let currency = service.base_currency();
    let budget = service
        .read(move |conn| budget_get(conn, *id, currency))
        .await?;
    Ok(HttpResponse::Ok().json(budget))
}

/// Withdraws a budget: it caps nothing from now on. It stays in the list.
#[utoipa::path(
    tag = "purchasing",
    params(("id" = i64, Path, description = "The budget's id")),
    responses(
        (status = 204, description = "It is withdrawn"),
        (status = 404, description = "There is no such budget", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "It is withdrawn already", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[delete("/v1/purchase-budgets/{id}")]
async fn budget_delete(service: Data<Service>, id: Path<i64>, request: NoBody) -> Answer {
    service
        .write(request, move |tx| {
            budget_withdraw(tx, *id)?;
            Ok(Reply::nothing())
        })
        .await
}
