//! The addresses of exchange rates.

use actix_web::web::Data;
use actix_web::{HttpRequest, get, post};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::base::Currency;
use crate::http::{Answer, Body, List, PageQuery, Problem, ProblemBody, Query, Reply, Service};
use crate::purchasing::ops::{ExchangeRate, place, rate_enter, rate_list};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(exchange_rate_create)
        .service(exchange_rate_list);
}

/// What a list of rates is narrowed to.
#[derive(Debug, Clone, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct RateQuery {
    /// Only the rates of this currency.
    #[param(example = "USD")]
    currency: Option<String>,
}

/// Enters the exchange rate of a day. Entered again, it replaces the first; what was received meanwhile keeps its cost.
#[utoipa::path(
    tag = "purchasing",
    params(("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body = ExchangeRate,
    responses(
        (status = 200, description = "It replaced the one of that day", body = ExchangeRate),
        (status = 201, description = "It was entered", body = ExchangeRate, headers(("Location" = String, description = "The rates of its currency"))),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/exchange-rates")]
async fn exchange_rate_create(service: Data<Service>, body: Body<ExchangeRate>) -> Answer {
    let (rate, request) = body.split();
    service
        .write(request, move |tx| {
            let address = format!("/v1/exchange-rates?currency={}", rate.currency);
            match rate_enter(tx, &rate)? {
                true => Reply::created(address, &rate),
                false => Reply::ok(&rate),
            }
        })
        .await
}

/// Lists exchange rates, oldest first.
#[utoipa::path(
    tag = "purchasing",
    params(PageQuery, RateQuery),
    responses(
        (status = 200, description = "A page of rates", body = List<ExchangeRate>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/exchange-rates")]
async fn exchange_rate_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    filter: Query<RateQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let currency = filter
        .currency
        .as_deref()
        .map(Currency::parse)
        .transpose()
        .map_err(|error| Problem::bad_query(&format!("currency: {error}")))?;
    let rows = service
        .read(move |conn| rate_list(conn, currency, page))
        .await?;
    List::from_rows(rows, page, place).answer_to(&request)
}
