//! The addresses of orders. An order's number may hold any character: in an address it is percent-encoded (RFC 3986).

use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get, post};
use serde_json::Value;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::http::{
    Answer, Body, List, PageQuery, Problem, ProblemBody, Query, RawBody, Reply, Service,
    document_read,
};
use crate::purchasing::ops::{self, OrderView};
use crate::purchasing::order_input::{CancelIn, OrderIn, ReceiveIn};

/// The kind of body that a cancellation may have.
const JSON: &str = "application/json";

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(order_create)
        .service(order_list)
        .service(order_show)
        .service(order_receive)
        .service(order_cancel);
}

/// The address of an order: what is not unreserved in its number is percent-encoded.
fn address(order_no: &str) -> String {
    let mut address = String::from("/v1/orders/");
    for byte in order_no.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_' | b'~') {
            address.push(char::from(byte));
        } else {
            address.push_str(&format!("%{byte:02X}"));
        }
    }
    address
}

/// Places an order. Lines with `received_on` are received at once.
#[utoipa::path(
    tag = "purchasing",
    params(("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body = OrderIn,
    responses(
        (status = 200, description = "The same order is in the books already", body = OrderView),
        (status = 201, description = "It was placed", body = OrderView, headers(("Location" = String, description = "Its address"))),
        (status = 409, description = "There is another order of that number", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/orders")]
async fn order_create(service: Data<Service>, body: Body<OrderIn>) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| match ops::order_place(tx, &input)? {
            (order, true) => Reply::created(address(&order.order_no), &order),
            (order, false) => Reply::ok(&order),
        })
        .await
}

/// Lists the orders, in the order they were entered; those that came in files too.
#[utoipa::path(
    tag = "purchasing",
    params(PageQuery),
    responses(
        (status = 200, description = "A page of orders", body = List<OrderView>),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/orders")]
async fn order_list(
    service: Data<Service>,
    query: Query<PageQuery>,
    request: HttpRequest,
) -> Answer {
    let page = query.page(service.limits())?;
    let rows = service
        .read(move |conn| ops::order_list(conn, page))
        .await?;
    List::from_rows(rows, page, |order| order.id).answer_to(&request)
}

/// Shows an order.
#[utoipa::path(
    tag = "purchasing",
    params(("code" = String, Path, description = "The order's number, percent-encoded")),
    responses(
        (status = 200, description = "The order", body = OrderView),
        (status = 404, description = "There is none of that number", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[get("/v1/orders/{code}")]
async fn order_show(service: Data<Service>, code: Path<String>) -> Answer {
    let order = service
        .read(move |conn| ops::order_get(conn, &code))
        .await?;
    Ok(HttpResponse::Ok().json(order))
}

/// Receives lines that are on order; each makes its lots.
#[utoipa::path(
    tag = "purchasing",
    params(
        ("code" = String, Path, description = "The order's number, percent-encoded"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body = ReceiveIn,
    responses(
        (status = 200, description = "The lines were received", body = OrderView),
        (status = 404, description = "There is no order of that number", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "A line has arrived already or was cancelled", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A value is not right", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/orders/{code}/receive")]
async fn order_receive(
    service: Data<Service>,
    code: Path<String>,
    body: Body<ReceiveIn>,
) -> Answer {
    let (input, request) = body.split();
    service
        .write(request, move |tx| {
            Reply::ok(&ops::order_receive(tx, &code, &input)?)
        })
        .await
}

/// Cancels what is on order: all of it, or the lines that an optional JSON body names.
#[utoipa::path(
    tag = "purchasing",
    params(
        ("code" = String, Path, description = "The order's number, percent-encoded"),
        ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books"),
    ),
    request_body(content = Option<CancelIn>, content_type = "application/json"),
    responses(
        (status = 200, description = "The lines will not arrive", body = OrderView),
        (status = 404, description = "There is no order of that number", body = ProblemBody, content_type = "application/problem+json"),
        (status = 409, description = "Nothing is on order any more, or a line that was named is not", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "A line is not the order's", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/orders/{code}/cancel")]
async fn order_cancel(service: Data<Service>, code: Path<String>, body: RawBody) -> Answer {
    let content_type = body.content_type.clone();
    let (bytes, request) = body.split();
    let input = cancel_input(&bytes, &content_type)?;
    service
        .write(request, move |tx| {
            Reply::ok(&ops::order_cancel(tx, &code, &input)?)
        })
        .await
}

/// What is to be cancelled. No body, and one of `null`, say nothing.
fn cancel_input(bytes: &[u8], content_type: &str) -> Result<CancelIn, Problem> {
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Ok(CancelIn::default());
    }
    if content_type != JSON {
        return Err(Problem::unsupported_media_type(content_type, JSON));
    }
    let document: Value = serde_json::from_slice(bytes).map_err(|error| {
        Problem::malformed(format!("the body is not well-formed JSON: {error}"))
    })?;
    let given: Option<CancelIn> = document_read(document)?;
    Ok(given.unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_holds_no_character_that_means_something_there() {
        assert_eq!(address("O-1"), "/v1/orders/O-1");
        assert_eq!(
            address("2026/7 ä?#%"),
            "/v1/orders/2026%2F7%20%C3%A4%3F%23%25"
        );
    }
}
