//! The address of a bench sheet.

use actix_web::http::StatusCode;
use actix_web::web::{Data, Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;

use super::asked::{Asked, Kept};
use super::ops::{Facts, Here, facts};
use super::steps::{Step, Words, minutes, places, steps};
use crate::base::Error;
use crate::casting::bench::sheet::{BenchSheet, Recorded};
use crate::http::Service;
use crate::http::sessions::Session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::words::{counted, day};

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config.service(bench_sheet_get);
}

#[derive(Template)]
#[template(
    path = "bench_sheet/bench_sheet.html",
    config = "src/pages/askama.toml"
)]
struct SheetPage {
    frame: Frame,
    code: String,
    about: String,
    head: String,
    short: bool,
    recorded: Option<String>,
    heat: Option<String>,
    cautions: Vec<String>,
    hazards: Vec<(String, String)>,
    asked: Asked,
    kept: Vec<Kept>,
    batches: Vec<String>,
    steps: Vec<Step>,
    closing: String,
}

#[get("/casts/{code}/bench-sheet")]
async fn bench_sheet_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(request.query_string());
    let here = Here {
        house: service.house(),
        zone: service.time_zone(),
        today: service.today(),
    };
    let found = service
        .read(move |conn| facts(conn, &code, asked, here))
        .await
        .map_err(|problem| Refused::new(&request, problem))?;
    let frame = Frame::new("Bench sheet", Place::Casts, &service, Some(&session));
    let failed = |error: Error| Refused::new(&request, error);
    let status = match found.asked.is_right() {
        true => StatusCode::OK,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    page(status, &shown(found, frame, here).map_err(failed)?).map_err(failed)
}

fn shown(found: Facts, frame: Frame, here: Here) -> Result<SheetPage, Error> {
    let (sheet, asked) = (found.sheet, found.asked);
    let words = Words {
        names: &found.materials,
        places: places(&sheet),
        zone: here.zone,
        on: sheet.cast_on,
    };
    let steps = steps(&sheet, &words, &asked, &found.weighed)?;
    let hazards = sheet.hazards.iter();
    Ok(SheetPage {
        frame,
        about: format!(
            "{}, {}",
            sheet.recipe_name,
            counted(sheet.containers, "tray", "trays")
        ),
        head: head(&sheet, here),
        short: sheet.short,
        recorded: sheet.recorded.as_ref().map(|of| recorded(of, here)),
        heat: sheet.heat_override_reason.clone(),
        hazards: hazards
            .map(|of| (of.name.clone(), of.statements.join("; ")))
            .collect(),
        kept: asked.kept(None).0,
        batches: (1..=found.weighed.len()).map(|no| no.to_string()).collect(),
        asked,
        steps,
        cautions: sheet.cautions,
        closing: sheet.closing,
        code: sheet.cast,
    })
}

/// The day, how much comes of it, and how long it takes.
fn head(sheet: &BenchSheet, here: Here) -> String {
    format!(
        "{}: {} in {}, {} with the cure.",
        day(sheet.cast_on, here.today),
        counted(sheet.chips, "chip", "chips"),
        counted(sheet.rounds, "round", "rounds"),
        minutes(sheet.total_min)
    )
}

/// What was done of it.
fn recorded(of: &Recorded, here: Here) -> String {
    let trays = counted(of.pour.containers_poured, "tray", "trays");
    let mut says = format!("{trays} poured");
    if let Some(on) = of.poured_on {
        says.push_str(&format!(" {}", day(on, here.today)));
    }
    if let Some(by) = &of.poured_by {
        says.push_str(&format!(" by {by}"));
    }
    if let (Some(on), Some(record)) = (of.demolded_on, &of.demold) {
        says.push_str(&format!(
            "; demoulded {} with {}",
            day(on, here.today),
            counted(record.good, "good chip", "good chips")
        ));
    }
    says
}
