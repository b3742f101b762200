//! The address of a cast.

use actix_web::http::StatusCode;
use actix_web::web::{Data, Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::drawing::{Drawing, drawing};
use super::life::{Point, line};
use super::ops::{Facts, facts};
use super::origins::{Origin, origins};
use super::parts::{Against, Part, against, direction, parts};
use crate::base::Error;
use crate::http::Service;
use crate::http::sessions::Session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::words::{amount, counted, money};

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(cast_get);
}

#[derive(Template)]
#[template(path = "cast/cast.html", config = "src/pages/askama.toml")]
struct CastPage {
    frame: Frame,
    code: String,
    about: String,
    cancelled: bool,
    booked: bool,
    /// Whether its chips are counted.
    counted: bool,
    line: Vec<Point>,
    missing: Vec<String>,
    warnings: Vec<String>,
    /// `as it came` or `as planned`.
    basis: &'static str,
    parts: Vec<Part>,
    drawing: Drawing,
    total: String,
    each: Option<String>,
    good: String,
    rejects: Option<String>,
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
    let house = service.house();
    let found = service
        .read(move |conn| facts(conn, &code, house))
        .await
        .map_err(|problem| Refused::new(&request, problem))?;
    let frame = Frame::new("Cast", Place::Casts, &service, Some(&session));
    let failed = |error: Error| Refused::new(&request, error);
    let shown = shown(found, frame, &service).map_err(failed)?;
    page(StatusCode::OK, &shown).map_err(failed)
}

fn shown(found: Facts, frame: Frame, service: &Service) -> Result<CastPage, Error> {
    let (cast, cost, today) = (&found.cast, &found.cost, service.today());
    let currency = &cost.cost.currency;
    let parts = parts(&cost.cost)?;
    let named = |code: &str| found.materials.get(code).cloned();
    let missing = found.missing.iter().map(|(code, quantity)| {
        let (name, unit) = named(code).unwrap_or_else(|| (code.clone(), ""));
        format!("{} of {name}", amount(*quantity, unit))
    });
    Ok(CastPage {
        frame,
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
        basis: match cost.cost.basis.as_str() {
            "actual" => "as it came",
            _ => "as planned",
        },
        drawing: drawing(&parts),
        parts,
        total: money(cost.cost.total, currency),
        each: cost.cost.per_good_chip.map(|each| money(each, currency)),
        good: good(cast),
        rejects: cost.rejects.as_ref().filter(|of| of.chips > 0).map(|of| {
            let chips = counted(of.chips, "rejected chip", "rejected chips");
            format!("{chips} cost {}", money(of.amount, currency))
        }),
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
        None => format!(
            "{} of {} chips are expected to be good",
            amount(
                crate::base::Quantity::new(cast.plan.expected_good_chips),
                "each"
            ),
            cast.plan.chips
        ),
    }
}
