//! The address of the form for one delivery.

use std::collections::HashMap;

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;

use super::delivery::{DeliveryForm, begun, delivery_form};
use super::field::Typed;
use super::ops::{Choices, choices, circumstances, part_of_address};
use crate::http::sessions::Session;
use crate::http::{Problem, Service};
use crate::pages::form::of_session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::purchasing::ops::line_take;

pub(super) fn routes(config: &mut ServiceConfig) {
    config.service(delivery_get).service(delivery_post);
}

#[derive(Template)]
#[template(path = "receive/delivery.html", config = "src/pages/askama.toml")]
struct DeliveryPage {
    frame: Frame,
    form_key: String,
    form: DeliveryForm,
    choices: Choices,
}

async fn delivery_page(
    service: &Service,
    request: &HttpRequest,
    session: &Session,
    (status, form): (StatusCode, DeliveryForm),
) -> Result<HttpResponse, Refused> {
    let found = service.read(choices).await;
    let shown = DeliveryPage {
        frame: Frame::new("One delivery", Place::Receive, service, Some(session)),
        form_key: session.form_key.clone(),
        form,
        choices: found.map_err(|problem| Refused::new(request, problem))?,
    };
    page(status, &shown).map_err(|error| Refused::new(request, error))
}

#[get("/receive/delivery")]
async fn delivery_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    asked: Query<HashMap<String, String>>,
) -> Result<HttpResponse, Refused> {
    let (today, currency) = circumstances(&service);
    let typed = begun(asked.into_inner(), today, currency);
    let form = delivery_form(&typed, &[], None);
    delivery_page(&service, &request, &session, (StatusCode::OK, form)).await
}

#[post("/receive/delivery")]
async fn delivery_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    form: Form<Typed>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let typed = form.into_inner();
    let key = typed.get("form_key").map_or("", String::as_str);
    of_session(&request, &session, key).map_err(refused)?;
    let told = typed.clone();
    let taken = service
        .run(session.caller.name.clone(), move |tx| {
            line_take(tx, |column| told.get(column).cloned().unwrap_or_default())
        })
        .await;
    match taken {
        Ok(order) => {
            let address = part_of_address(&order.order_no);
            let line = typed.get("line_no").map_or("", |line| line.trim());
            let line: u32 = line.parse().unwrap_or(0);
            Ok(HttpResponse::SeeOther()
                .insert_header((LOCATION, format!("/receive/orders/{address}?line={line}")))
                .finish())
        }
        Err(problem) => match problem.status_code() {
            status @ (StatusCode::CONFLICT | StatusCode::UNPROCESSABLE_ENTITY) => {
                let errors = problem.errors();
                let whole = errors.is_empty().then(|| problem.words().1);
                let form = delivery_form(&typed, errors, whole);
                delivery_page(&service, &request, &session, (status, form)).await
            }
            _ => Err(refused(problem)),
        },
    }
}
