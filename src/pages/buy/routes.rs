//! The address of what to buy.

use std::collections::HashMap;

use actix_web::http::StatusCode;
use actix_web::web::{Data, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::card::{Card, OrderText, cards, order_texts, unpaid};
use crate::base::Error;
use crate::catalogue::supplier_all;
use crate::db::AnyConnection;
use crate::http::sessions::Session;
use crate::http::{Role, Service};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::reorder::{Standing, forecast_settings, refreshed, standing};

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(buy_get);
}

#[derive(Template)]
#[template(path = "buy/buy.html", config = "src/pages/askama.toml")]
struct BuyPage {
    frame: Frame,
    orders: Vec<OrderText>,
    unpaid: Vec<String>,
    cards: Vec<Card>,
    /// Whether whoever looks may note an order.
    may: bool,
}

type Facts = (Vec<Standing>, HashMap<i64, String>);

fn facts(conn: &mut AnyConnection, service: &Service) -> Result<Facts, Error> {
    let day = (service.today(), service.base_currency());
    let suppliers = supplier_all(conn)?.into_iter();
    Ok((
        standing(conn, day, forecast_settings(service))?,
        suppliers.map(|entry| (entry.id, entry.name)).collect(),
    ))
}

#[get("/buy")]
async fn buy_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
) -> Result<HttpResponse, Refused> {
    let refused = |problem| Refused::new(&request, problem);
    refreshed(&service).await.map_err(refused)?;
    let reader = Service::clone(&service);
    let (standing, suppliers) = service
        .read(move |conn| facts(conn, &reader))
        .await
        .map_err(refused)?;
    let failed = |error: Error| Refused::new(&request, error);
    let shown = BuyPage {
        frame: Frame::new("Buy", Place::Buy, &service, Some(&session)),
        orders: order_texts(&standing, &suppliers),
        unpaid: unpaid(&standing),
        may: session.caller.roles.allows(&[Role::Buyer]),
        cards: cards(&standing, &suppliers, service.today()).map_err(failed)?,
    };
    page(StatusCode::OK, &shown).map_err(failed)
}
