//! The address of what comes in, and where a file is sent to.

use std::collections::HashMap;

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Payload, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;

use super::ops::{overview, part_of_address};
use super::options::{Options, options, settings};
use super::overview::{Came, Expected, Received, Waiting, came, expected, moment, waiting};
use super::upload::{Upload, upload_read};
use super::{delivery_routes, file_routes, import_routes, order_routes};
use crate::http::sessions::Session;
use crate::http::{Problem, Role, Service};
use crate::pages::form::{from_here, of_session};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::purchasing::ops::{ImportSettings, draft_keep};

/// Who may receive, as at the doors of the API.
pub(super) const BUYERS: &[Role] = &[Role::Buyer];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(receive_get).service(file_post);
    file_routes::routes(config);
    import_routes::routes(config);
    delivery_routes::routes(config);
    order_routes::routes(config);
}

/// The form that a file is dropped on.
pub(super) struct UploadForm {
    /// How the file is to be read.
    pub(super) options: Options,
    /// What is wrong with the file.
    pub(super) fault: Option<String>,
    /// The most that is taken, in words.
    pub(super) most: String,
}

impl UploadForm {
    /// The form with what was chosen.
    pub(super) fn new(settings: &ImportSettings, service: &Service) -> Self {
        Self {
            options: options(settings),
            fault: None,
            most: size(service.limits().file_bytes),
        }
    }
}

/// A number of bytes in words.
fn size(bytes: usize) -> String {
    const MEBIBYTE: usize = 1024 * 1024;
    match bytes {
        MEBIBYTE.. => format!("{} MB", bytes / MEBIBYTE),
        _ => format!("{bytes} bytes"),
    }
}

#[derive(Template)]
#[template(path = "receive/receive.html", config = "src/pages/askama.toml")]
struct ReceivePage {
    frame: Frame,
    form_key: String,
    may: bool,
    any_material: bool,
    upload: UploadForm,
    waiting: Vec<Waiting>,
    expected: Vec<Expected>,
    expected_more: bool,
    came: Vec<Came>,
    received: Vec<Received>,
}

#[get("/receive")]
async fn receive_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
) -> Result<HttpResponse, Refused> {
    let upload = UploadForm::new(&ImportSettings::default(), &service);
    receive_page(&service, &request, &session, (StatusCode::OK, upload)).await
}

async fn receive_page(
    service: &Service,
    request: &HttpRequest,
    session: &Session,
    (status, upload): (StatusCode, UploadForm),
) -> Result<HttpResponse, Refused> {
    let (today, currency) = super::ops::circumstances(service);
    let found = service
        .read(move |conn| overview(conn, today))
        .await
        .map_err(|problem| Refused::new(request, problem))?;
    let supplier = |code: &str| {
        let name = found.suppliers.get(code);
        name.map_or_else(|| code.to_owned(), String::clone)
    };
    let orders = found.expected.iter().map(|order| {
        let address = part_of_address(&order.order_no);
        let named = (supplier(&order.supplier), address);
        expected(order, named, (&found.items, today))
    });
    let lots = found.came.iter().map(|lot| {
        let supplier = lot.supplier.as_deref().map_or_else(String::new, supplier);
        came(lot, supplier, (&found.items, today), currency)
    });
    let zone = service.time_zone();
    let imports = found.imports.iter().map(|(id, at, by)| Received {
        id: *id,
        words: format!("{}, by {by}", moment(*at, zone, today)),
    });
    let may = session.caller.roles.allows(BUYERS);
    let shown = ReceivePage {
        frame: Frame::new("Receive", Place::Receive, service, Some(session)),
        form_key: session.form_key.clone(),
        may,
        any_material: found.any_material,
        upload,
        expected: orders.collect(),
        expected_more: found.expected_more,
        came: lots.collect(),
        received: imports.collect(),
        waiting: match may {
            true => waiting(found.drafts, (zone, today)),
            false => Vec::new(),
        },
    };
    page(status, &shown).map_err(|error| Refused::new(request, error))
}

/// Takes a file in as a draft, and leads to the look at it.
#[post("/receive/files")]
async fn file_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    payload: Payload,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    from_here(&request).map_err(refused)?;
    let limit = service.limits().file_bytes;
    let sent = upload_read(&request, payload, limit).await;
    let sent = sent.map_err(refused)?;
    let key = sent.fields.get("form_key").map_or("", String::as_str);
    of_session(&request, &session, key).map_err(refused)?;
    let chosen = settings_of(&sent.fields).map_err(refused)?;
    match kept(&service, &session, sent, chosen).await {
        Ok(id) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, format!("/receive/files/{id}")))
            .finish()),
        Err((status, fault)) if status.is_client_error() => {
            let mut upload = UploadForm::new(&chosen, &service);
            upload.fault = Some(fault);
            receive_page(&service, &request, &session, (status, upload)).await
        }
        Err((_, fault)) => Err(refused(
            crate::base::Error::Unavailable { detail: fault }.into(),
        )),
    }
}

/// What a form says about how a file is to be read.
pub(super) fn settings_of(fields: &HashMap<String, String>) -> Result<ImportSettings, Problem> {
    settings(fields).map_err(Problem::malformed)
}

/// Keeps what was sent; else says with which status it is refused, and why.
async fn kept(
    service: &Service,
    session: &Session,
    sent: Upload,
    settings: ImportSettings,
) -> Result<i64, (StatusCode, String)> {
    if sent.too_long {
        let fault = format!(
            "the file is longer than {}, the most that is taken: split it",
            size(service.limits().file_bytes)
        );
        return Err((StatusCode::PAYLOAD_TOO_LARGE, fault));
    }
    let Some((name, bytes)) = sent.file else {
        let fault = "choose a file, or drop one here".to_owned();
        return Err((StatusCode::UNPROCESSABLE_ENTITY, fault));
    };
    let actor = session.caller.name.clone();
    let kept = service
        .run(actor, move |tx| draft_keep(tx, &name, &bytes, &settings))
        .await;
    kept.map_err(|problem| {
        let first = problem.errors().first().map(|error| error.detail.clone());
        let detail = first.unwrap_or_else(|| problem.words().1.to_owned());
        (problem.status_code(), detail)
    })
}
