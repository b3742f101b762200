//! The address of an order: what of it came, and the form for what comes now.

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Path, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;
use serde::Deserialize;

use super::field::Typed;
use super::ops::{circumstances, order, part_of_address};
use super::order::{Failed, OrderShown, document, lines_ticked, order_shown};
use super::routes::BUYERS;
use crate::base::Error;
use crate::http::sessions::Session;
use crate::http::{Problem, Service, document_read};
use crate::pages::form::{can_be_put_right, of_session};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::purchasing::ops::{order_cancel, order_get, order_receive};
use crate::purchasing::order_input::CancelIn;

pub(super) fn routes(config: &mut ServiceConfig) {
    config
        .service(order_page_get)
        .service(cancel_post)
        .service(order_post);
}

#[derive(Template)]
#[template(path = "receive/order.html", config = "src/pages/askama.toml")]
struct OrderPage {
    frame: Frame,
    form_key: String,
    may: bool,
    order: OrderShown,
    said: Option<String>,
}

/// What was done just now. What is not understood is passed over.
#[derive(Default, Deserialize)]
struct Asked {
    /// The line that was typed.
    line: Option<String>,
    /// How many lines came.
    came: Option<String>,
    /// The line that will not come.
    cancelled: Option<String>,
}

async fn order_page(
    service: &Service,
    session: &Session,
    code: String,
    asked: &Asked,
    failed: Option<Failed>,
) -> Result<OrderPage, Problem> {
    let day = circumstances(service);
    let found = service.read(move |conn| order(conn, &code, day)).await?;
    let address = part_of_address(&found.order.order_no);
    let order = order_shown(
        &found.order,
        found.supplier,
        address,
        &found.lots,
        (&found.items, day.0),
        failed.as_ref(),
    );
    Ok(OrderPage {
        frame: Frame::new("An order", Place::Receive, service, Some(session)),
        form_key: session.form_key.clone(),
        may: session.caller.roles.allows(BUYERS),
        said: said(asked, &order),
        order,
    })
}

/// What was done just now, by what the books say.
fn said(asked: &Asked, order: &OrderShown) -> Option<String> {
    let count = asked.came.as_ref().and_then(|came| came.parse().ok());
    match count {
        Some(1) => return Some("The line is received. Its lots are below.".to_owned()),
        Some(2..=1_000_000) => {
            return Some("The lines are received. Their lots are below.".to_owned());
        }
        _ => {}
    }
    let cancelled: Option<u32> = asked.cancelled.as_ref().and_then(|line| line.parse().ok());
    if let Some(line) = cancelled
        && order.done.iter().any(|done| done.line_no == line)
    {
        return Some(format!("Line {line} will not come."));
    }
    let line: u32 = asked.line.as_ref()?.parse().ok()?;
    let done = order.done.iter().find(|done| done.line_no == line);
    match done {
        Some(_) => Some(format!("Line {line} is received. Its lots are below.")),
        None if order.open.iter().any(|open| open.line_no == line) => {
            Some(format!("Line {line} is on order."))
        }
        None => None,
    }
}

#[get("/receive/orders/{code}")]
async fn order_page_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let shown = order_page(&service, &session, code.into_inner(), &asked, None).await;
    let shown = shown.map_err(|problem| Refused::new(&request, problem))?;
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

#[post("/receive/orders/{code}")]
async fn order_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
    form: Form<Typed>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let (typed, code) = (form.into_inner(), code.into_inner());
    let key = typed.get("form_key").map_or("", String::as_str);
    of_session(&request, &session, key).map_err(refused)?;
    let (told, number) = (typed.clone(), code.clone());
    let taken = service
        .run(session.caller.name.clone(), move |tx| {
            let ordered = order_get(tx.conn, &number)?;
            let lines = lines_ticked(&ordered, &told);
            let arrival = document_read(document(&lines, &told))?;
            order_receive(tx, &number, &arrival)?;
            Ok(lines.len())
        })
        .await;
    match taken {
        Ok(came) => Ok(led_to(&code, &format!("came={came}"))),
        Err(problem) => put_right(&service, &request, &session, (code, typed), problem).await,
    }
}

/// Cancels a line that will not come.
#[post("/receive/orders/{code}/cancel")]
async fn cancel_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
    form: Form<Typed>,
) -> Result<HttpResponse, Refused> {
    let (typed, code) = (form.into_inner(), code.into_inner());
    let value = |name: &str| typed.get(name).map_or("", String::as_str);
    of_session(&request, &session, value("form_key"))
        .map_err(|problem| Refused::new(&request, problem))?;
    let line: u32 = value("line").parse().unwrap_or_default();
    let lines = CancelIn {
        lines: Some(vec![line]),
    };
    let number = code.clone();
    let cancelled = service
        .run(session.caller.name.clone(), move |tx| {
            order_cancel(tx, &number, &lines)
        })
        .await;
    match cancelled {
        Ok(_) => Ok(led_to(&code, &format!("cancelled={line}"))),
        Err(problem) => put_right(&service, &request, &session, (code, typed), problem).await,
    }
}

/// Leads to the order, with what was done of it.
fn led_to(code: &str, done: &str) -> HttpResponse {
    let address = part_of_address(code);
    HttpResponse::SeeOther()
        .insert_header((LOCATION, format!("/receive/orders/{address}?{done}")))
        .finish()
}

/// The order again with what was typed, where another value may put it right.
async fn put_right(
    service: &Service,
    request: &HttpRequest,
    session: &Session,
    (code, typed): (String, Typed),
    problem: Problem,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(request, problem);
    if !can_be_put_right(&problem) {
        return Err(refused(problem));
    }
    let status = problem.status_code();
    let failed = Failed {
        typed,
        errors: problem.errors().to_vec(),
        detail: Some(problem.words().1.to_owned()),
    };
    let shown = order_page(service, session, code, &Asked::default(), Some(failed)).await;
    page(status, &shown.map_err(refused)?).map_err(|error: Error| Refused::new(request, error))
}
