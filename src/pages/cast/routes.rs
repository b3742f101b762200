//! The address of a cast.

use actix_web::http::StatusCode;
use actix_web::web::{Data, Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::against::{Against, against, direction};
use super::deeds::{Deeds, Failed, deeds};
use super::life::{Point, line};
use super::ops::{Facts, facts};
use super::origins::{Origin, origins};
use crate::base::Error;
use crate::http::sessions::Session;
use crate::http::{Problem, Role, Service};
use crate::pages::form::once_key;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::parts::{CostShown, cost_shown, expected_good};
use crate::pages::plan;
use crate::pages::refusal::Refused;
use crate::pages::words::{amount, counted, money};

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(cast_get);
    super::deed_routes::routes(config);
}

#[derive(Template)]
#[template(path = "cast/cast.html", config = "src/pages/askama.toml")]
pub(super) struct CastPage {
    frame: Frame,
    /// What may be done to it; none for whoever may do nothing.
    deeds: Option<Deeds>,
    known: i64,
    form_key: String,
    once: String,
    /// Where another like it is planned; none for whoever may plan nothing.
    again: Option<String>,
    code: String,
    about: String,
    cancelled: bool,
    booked: bool,
    /// Whether its chips are counted.
    counted: bool,
    line: Vec<Point>,
    missing: Vec<String>,
    warnings: Vec<String>,
    cost: CostShown,
    against: Vec<Against>,
    planned: String,
    difference: Option<String>,
    taken: bool,
    mixed_kits: bool,
    origins: Vec<Origin>,
    charges: Vec<(String, String)>,
    cautions: Vec<String>,
}

#[get("/casts/{code}")]
async fn cast_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
) -> Result<HttpResponse, Refused> {
    let shown = cast_page(&service, &session, code.into_inner(), None).await;
    let shown = shown.map_err(|problem| Refused::new(&request, problem))?;
    page(StatusCode::OK, &shown).map_err(|error| Refused::new(&request, error))
}

/// Makes the page, with a form that was refused.
pub(super) async fn cast_page(
    service: &Service,
    session: &Session,
    code: String,
    failed: Option<Failed>,
) -> Result<CastPage, Problem> {
    let house = service.house();
    let found = service.read(move |conn| facts(conn, &code, house)).await?;
    let may = |roles: &[Role]| session.caller.roles.allows(roles);
    let cast = &found.cast;
    let forms = || {
        let (on, short) = (cast.cast_on.to_string(), cast.request.allow_short);
        deeds(&cast.state, &on, short, failed.as_ref())
    };
    Ok(CastPage {
        deeds: may(&[Role::Bench]).then(forms),
        again: may(&[Role::Bench, Role::Buyer]).then(|| plan::address_like(&cast.request)),
        ..shown(&found, service, session)?
    })
}

fn shown(found: &Facts, service: &Service, session: &Session) -> Result<CastPage, Error> {
    let (cast, cost, today) = (&found.cast, &found.cost, service.today());
    let currency = &cost.cost.currency;
    let rejects = cost.rejects.as_ref().filter(|of| of.chips > 0).map(|of| {
        let chips = counted(of.chips, "rejected chip", "rejected chips");
        format!("{chips} cost {}", money(of.amount, currency))
    });
    let named = |code: &str| found.materials.get(code).cloned();
    let missing = found.missing.iter().map(|(code, quantity)| {
        let (name, unit) = named(code).unwrap_or_else(|| (code.clone(), ""));
        format!("{} of {name}", amount(*quantity, unit))
    });
    Ok(CastPage {
        frame: Frame::new("Cast", Place::Casts, service, Some(session)),
        deeds: None,
        known: cast.version,
        form_key: session.form_key.clone(),
        once: once_key(service)?,
        again: None,
        about: format!(
            "{}, {}",
            found.recipe_name,
            counted(cast.plan.containers, "tray", "trays")
        ),
        cancelled: cast.state == "cancelled",
        booked: cast.state == "booked",
        counted: cast.demold.is_some(),
        line: line(cast, service.time_zone(), today),
        missing: missing.collect(),
        warnings: cast
            .charge_warnings
            .iter()
            .map(|warning| warning.detail.clone())
            .collect(),
        cost: cost_shown(&cost.cost, good(cast), rejects)?,
        against: against(cost),
        planned: money(cost.planned.total, currency),
        difference: cost.difference.map(|of| direction(of, currency)),
        taken: found.trace.basis == "taken",
        mixed_kits: found.trace.mixed_kits,
        origins: origins(&found.trace, &found.materials, currency, today),
        charges: cast
            .charges
            .iter()
            .map(|charge| {
                let code = charge.grant.to_string();
                let name = found.grants.get(&code).unwrap_or(&code);
                (format!("{name} ({code})"), format!("{} %", charge.share))
            })
            .collect(),
        cautions: cast.plan.cautions.clone(),
        code: cast.code.clone(),
    })
}

/// What came of it, or what is expected to.
fn good(cast: &crate::casting::life::view::CastView) -> String {
    match &cast.demold {
        Some(record) => format!(
            "{} of {} chips are good",
            record.good,
            record.good + record.rejected
        ),
        None => expected_good(&cast.plan),
    }
}
