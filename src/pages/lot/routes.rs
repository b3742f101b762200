//! The addresses of a lot's page, its forms and its label.

use actix_web::http::StatusCode;
use actix_web::http::header::{HOST, LOCATION};
use actix_web::web::{Data, Form, Path, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;
use serde::Deserialize;

use super::deed::{Deed, DeedForm, Failed, Typed, forms, whole_forms};
use super::label::{Label, address, label};
use super::ops::{Errand, errand_run, facts, lot_and_material, whole_run};
use super::said::{Done, said, said_of_whole};
use super::view::{Facts, LotShown, in_hand, lot_shown};
use crate::base::{Error, Quantity};
use crate::http::sessions::Session;
use crate::http::{Asker, Problem, Role, Service};
use crate::pages::form::of_session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::vessel::Shape;

/// Who may do something to a pack, as at the doors of the API.
const HANDLERS: &[Role] = &[Role::Bench, Role::Buyer];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config
        .service(lot_get)
        .service(label_get)
        .service(deed_post)
        .service(whole_post);
}

#[derive(Template)]
#[template(path = "lot/lot.html", config = "src/pages/askama.toml")]
struct LotPage {
    frame: Frame,
    lot: LotShown,
    said: Option<String>,
    form_key: String,
    may: bool,
    in_hand: Option<InHand>,
    /// What can be done to the whole lot.
    whole: Vec<DeedForm>,
    earlier: bool,
}

/// The pack in hand with what can be done to it.
struct InHand {
    no: i32,
    forms: Vec<DeedForm>,
}

#[derive(Template)]
#[template(path = "lot/label.html", config = "src/pages/askama.toml")]
struct LabelPage {
    frame: Frame,
    id: i64,
    label: Label,
}

/// What of the lot is shown. What is not understood is passed over: a page is better than a complaint about its address.
#[derive(Default, Deserialize)]
struct Asked {
    pack: Option<String>,
    before: Option<String>,
    done: Option<String>,
    weighed: Option<String>,
}

/// A number in an address; else there is nothing there.
fn number(request: &HttpRequest, noun: &'static str, text: &str) -> Result<i64, Refused> {
    text.parse()
        .map_err(|_| Refused::new(request, Error::not_found(noun, text)))
}

fn parsed(text: Option<&String>) -> Option<i64> {
    text.and_then(|text| text.parse().ok())
}

#[get("/lots/{id}")]
async fn lot_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    id: Path<String>,
    asked: Query<Asked>,
) -> Result<HttpResponse, Refused> {
    let id = number(&request, "lot", &id)?;
    let shown = lot_page(&service, &session, id, &asked, None).await;
    let shown = shown.map_err(|problem| Refused::new(&request, problem))?;
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

/// Makes the page, with a form that was refused.
async fn lot_page(
    service: &Service,
    session: &Session,
    id: i64,
    asked: &Asked,
    failed: Option<Failed>,
) -> Result<LotPage, Problem> {
    let today = service.today();
    let before = parsed(asked.before.as_ref());
    let found = service
        .read(move |conn| facts(conn, id, before, today))
        .await?;
    let unit = found.material.body.unit;
    let may = session.caller.roles.allows(HANDLERS);
    let pack = pack_in_hand(&found, parsed(asked.pack.as_ref()));
    let done = Done::from_address(asked.done.as_deref(), asked.weighed.as_deref());
    let said = done
        .zip(pack)
        .and_then(|(done, pack)| said(done, pack, &found.movements, unit.as_str(), today))
        .or_else(|| said_of_whole(asked.done.as_deref()?, &found.lot));
    let in_hand = pack.filter(|_| may).map(|pack| InHand {
        no: pack.no,
        forms: forms((id, pack), unit, failed.as_ref()),
    });
    let whole = match may {
        true => whole_forms(&found.lot, unit, failed.as_ref()),
        false => Vec::new(),
    };
    Ok(LotPage {
        whole,
        frame: Frame::new("Lot", Place::Shelf, service, Some(session)),
        said,
        form_key: session.form_key.clone(),
        may,
        in_hand,
        earlier: before.is_some(),
        lot: lot_shown(found, service.base_currency(), today),
    })
}

/// The pack that was asked for; without one, the only one that holds anything.
fn pack_in_hand(facts: &Facts, asked: Option<i64>) -> Option<&crate::stock::views::PackView> {
    let packs = &facts.lot.packs;
    let filled = match facts.in_stock.as_slice() {
        [only] => Some(only.pack_id),
        _ => None,
    };
    let wanted = asked.or(filled)?;
    packs.iter().find(|pack| pack.id == wanted)
}

#[post("/lots/{lot}/packs/{pack}/{deed}")]
async fn deed_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String, String)>,
    form: Form<Typed>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let typed = form.into_inner();
    let key = typed.get("form_key").map_or("", String::as_str);
    of_session(&request, &session, key).map_err(refused)?;
    let errand = errand(&request, &path)?;
    let (actor, told) = (session.caller.name.clone(), typed.clone());
    let outcome = service
        .run(actor, move |tx| errand_run(tx, errand, &told))
        .await;
    match outcome {
        Ok(moved) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, afterwards(errand, moved, &typed)))
            .finish()),
        Err(problem) if can_be_put_right(&problem) => {
            let failed = failed(&problem, (errand.deed, false), typed);
            let pack = Some(errand.pack_id);
            shown_again(&service, &request, &session, (errand.lot_id, pack), failed).await
        }
        Err(problem) => Err(refused(problem)),
    }
}

#[post("/lots/{lot}/{deed}")]
async fn whole_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String)>,
    form: Form<Typed>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let typed = form.into_inner();
    let key = typed.get("form_key").map_or("", String::as_str);
    of_session(&request, &session, key).map_err(refused)?;
    let (lot, word) = path.into_inner();
    let lot_id = number(&request, "lot", &lot)?;
    let deed = Deed::from_word(&word)
        .filter(|deed| matches!(deed, Deed::Hold | Deed::Release))
        .ok_or_else(|| refused(Problem::no_such_route(request.path())))?;
    let (actor, told) = (session.caller.name.clone(), typed.clone());
    let outcome = service
        .run(actor, move |tx| whole_run(tx, lot_id, deed, &told))
        .await;
    match outcome {
        Ok(()) => Ok(HttpResponse::SeeOther()
            .insert_header((LOCATION, format!("/lots/{lot_id}?done=lot-{word}")))
            .finish()),
        Err(problem) if can_be_put_right(&problem) => {
            let failed = failed(&problem, (deed, true), typed);
            shown_again(&service, &request, &session, (lot_id, None), failed).await
        }
        Err(problem) => Err(refused(problem)),
    }
}

fn failed(problem: &Problem, (deed, whole): (Deed, bool), typed: Typed) -> (StatusCode, Failed) {
    let failed = Failed {
        deed,
        whole,
        typed,
        errors: problem.errors().to_vec(),
        detail: problem.words().1.to_owned(),
    };
    (problem.status_code(), failed)
}

/// The page again, with the form that was refused.
async fn shown_again(
    service: &Service,
    request: &HttpRequest,
    session: &Session,
    (lot_id, pack_id): (i64, Option<i64>),
    (status, failed): (StatusCode, Failed),
) -> Result<HttpResponse, Refused> {
    let asked = Asked {
        pack: pack_id.map(|id| id.to_string()),
        ..Asked::default()
    };
    let shown = lot_page(service, session, lot_id, &asked, Some(failed)).await;
    let shown = shown.map_err(|problem| Refused::new(request, problem))?;
    page(status, &shown).map_err(|error| Refused::new(request, error))
}

/// Whether another value, or another look, may put it right: then the form is shown again.
fn can_be_put_right(problem: &Problem) -> bool {
    matches!(
        problem.status_code(),
        StatusCode::CONFLICT | StatusCode::UNPROCESSABLE_ENTITY
    )
}

fn errand(
    request: &HttpRequest,
    (lot, pack, deed): &(String, String, String),
) -> Result<Errand, Refused> {
    Ok(Errand {
        lot_id: number(request, "lot", lot)?,
        pack_id: number(request, "pack", pack)?,
        deed: Deed::from_word(deed)
            .ok_or_else(|| Refused::new(request, Problem::no_such_route(request.path())))?,
    })
}

/// Where one is led after a deed: to the pack, with what was done named by its number.
fn afterwards(errand: Errand, moved: Option<i64>, typed: &Typed) -> String {
    let pack = in_hand(errand.lot_id, errand.pack_id);
    let Some(moved) = moved else {
        return format!("{pack}&done={}", errand.deed.as_str());
    };
    let gross = typed.get("gross_g").map(|gross| gross.trim());
    let gross = gross.and_then(|gross| Quantity::parse(gross).ok());
    let weighed = gross.map_or_else(String::new, |gross| format!("&weighed={gross}"));
    format!("{pack}&done={moved}{weighed}")
}

#[get("/lots/{id}/label")]
async fn label_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    id: Path<String>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let failed = |error: Error| Refused::new(&request, error);
    let (id, today) = (number(&request, "lot", &id)?, service.today());
    let (lot, material) = service
        .read(move |conn| lot_and_material(conn, id, today))
        .await
        .map_err(refused)?;
    let address = {
        let host = request.headers().get(HOST);
        let host = host.and_then(|host| host.to_str().ok()).unwrap_or_default();
        address(Asker::known(&request).scheme(), host, id).ok_or_else(|| {
            refused(Problem::malformed(
                "the host that the browser asked for is none that an address can be made of: open the page by the \
                 service's name or number"
                    .to_owned(),
            ))
        })?
    };
    let shown = LabelPage {
        frame: Frame::new("Label", Place::Shelf, &service, Some(&session)),
        id,
        label: label(&lot, &material, address).map_err(failed)?,
    };
    page(StatusCode::OK, &shown).map_err(failed)
}
