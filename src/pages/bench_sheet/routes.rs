//! The addresses of a bench sheet, and of what is recorded from it.

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::web::{Data, Form, Path, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, ResponseError, get, post};
use askama::Template;

use super::asked::Asked;
use super::cards::{CountCard, PourCard, count_card, pour_card};
use super::clock::typed;
use super::ops::{Deed, Facts, Here, coat_place, facts, mix_step, record};
use super::progress::{Running, progress, running};
use super::steps::{self, Caution, Step, caution, steps};
use super::words::{Words, minutes, places};
use super::{coat_form, demold_form, pour_form};
use crate::base::Error;
use crate::casting::bench::sheet::{BenchSheet, Recorded};
use crate::http::sessions::Session;
use crate::http::{Problem, Role, Service};
use crate::pages::form::of_session;
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;
use crate::pages::words::{counted, day};

/// Who may record what was done, as at the doors of the API.
const BENCH: &[Role] = &[Role::Bench];

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config
        .service(bench_sheet_get)
        .service(coat_post)
        .service(pour_post)
        .service(demold_post);
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
    /// Whether nothing is left to be done.
    over: bool,
    heat: Option<String>,
    cautions: Vec<Caution>,
    hazards: Vec<(String, String)>,
    dense: bool,
    fault: Option<String>,
    bar: Bar,
    steps: Vec<Step>,
    pour: Option<PourCard>,
    count: Option<CountCard>,
    form_key: String,
    closing: String,
}

/// What waits, and what runs.
struct Bar {
    next: Option<(String, String)>,
    ticked: String,
    clocks: Vec<Running>,
}

fn here(service: &Service, session: &Session) -> Here {
    Here {
        house: service.house(),
        zone: service.time_zone(),
        today: service.today(),
        now: service.now(),
        may: session.caller.roles.allows(BENCH),
    }
}

#[get("/casts/{code}/bench-sheet")]
async fn bench_sheet_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(&request, problem);
    let asked = Asked::read(request.query_string());
    let here = here(&service, &session);
    if let Some(batch) = asked.now() {
        return mixed_now(&service, code.into_inner(), asked, batch)
            .await
            .map_err(refused);
    }
    let found = service
        .read(move |conn| facts(conn, &code, asked, here))
        .await
        .map_err(refused)?;
    let status = match found.asked.is_right() {
        true => StatusCode::OK,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let frame = Frame::new("Bench sheet", Place::Casts, &service, Some(&session));
    let failed = |error: Error| Refused::new(&request, error);
    let shown = shown(found, frame, &session, here, None).map_err(failed)?;
    page(status, &shown).map_err(failed)
}

/// Leads to the sheet on which the mixing of a batch ended now.
async fn mixed_now(
    service: &Service,
    code: String,
    mut asked: Asked,
    batch: usize,
) -> Result<HttpResponse, Problem> {
    let (house, cast) = (service.house(), code.clone());
    let step = service
        .read(move |conn| mix_step(conn, &cast, batch, house))
        .await?;
    let mut place = String::new();
    if let Some((step, name, on)) = step {
        let now = typed(service.now(), on, service.time_zone());
        asked.set("mixed_at", batch - 1, now);
        asked.mark("done", &name);
        place = format!("#step-{step}");
    }
    let address = format!("/casts/{code}/bench-sheet?{}{place}", asked.query());
    Ok(HttpResponse::SeeOther()
        .insert_header((LOCATION, address))
        .finish())
}

type Sent = Form<Vec<(String, String)>>;

#[post("/casts/{code}/coats/{copies}")]
async fn coat_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    path: Path<(String, String)>,
    form: Sent,
) -> Result<HttpResponse, Refused> {
    let (code, copies) = path.into_inner();
    let told = (code, form.into_inner());
    recorded_from(&service, (&request, &session), told, Deed::Coat(copies)).await
}

#[post("/casts/{code}/pour")]
async fn pour_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
    form: Sent,
) -> Result<HttpResponse, Refused> {
    let told = (code.into_inner(), form.into_inner());
    recorded_from(&service, (&request, &session), told, Deed::Pour).await
}

#[post("/casts/{code}/demold")]
async fn demold_post(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
    code: Path<String>,
    form: Sent,
) -> Result<HttpResponse, Refused> {
    let told = (code.into_inner(), form.into_inner());
    recorded_from(&service, (&request, &session), told, Deed::Demold).await
}

/// Records what a form tells; what was refused is shown on the sheet, with all that was typed.
async fn recorded_from(
    service: &Service,
    (request, session): (&HttpRequest, &Session),
    (code, pairs): (String, Vec<(String, String)>),
    deed: Deed,
) -> Result<HttpResponse, Refused> {
    let refused = |problem: Problem| Refused::new(request, problem);
    let key = pairs.iter().find(|(name, _)| name == "form_key");
    let key = key.map_or("", |(_, value)| value.as_str());
    of_session(request, session, key).map_err(refused)?;
    let asked = Asked::of(pairs);
    let here = here(service, session);
    let (actor, cast) = (session.caller.name.clone(), code.clone());
    let (told, what) = (asked.clone(), deed.clone());
    let outcome = service
        .run(actor, move |tx| record(tx, &cast, &what, (&told, here)))
        .await;
    let problem = match outcome {
        Ok(()) => {
            return Ok(HttpResponse::SeeOther()
                .insert_header((LOCATION, afterwards(&code, &deed, asked)))
                .finish());
        }
        Err(problem) => problem,
    };
    let status = problem.status_code();
    if !matches!(
        status,
        StatusCode::CONFLICT | StatusCode::UNPROCESSABLE_ENTITY
    ) {
        return Err(refused(problem));
    }
    let found = service.read(move |conn| facts(conn, &code, asked, here));
    let mut found = found.await.map_err(refused)?;
    let (asked, errors) = (&mut found.asked, problem.errors());
    let coat = match &deed {
        Deed::Coat(word) => coat_place(&found.sheet, word),
        _ => None,
    };
    let whole = match &deed {
        _ if errors.is_empty() => vec![problem.words().1.to_owned()],
        Deed::Pour => pour_form::place(asked, errors),
        Deed::Demold => demold_form::place(asked, errors),
        Deed::Coat(_) => coat_form::place(asked, coat.unwrap_or(0), errors),
    };
    let whole = (deed, coat, whole);
    let frame = Frame::new("Bench sheet", Place::Casts, service, Some(session));
    let failed = |error: Error| Refused::new(request, error);
    let shown = shown(found, frame, session, here, Some(whole)).map_err(failed)?;
    page(status, &shown).map_err(failed)
}

/// Where one is led after a record: to what came of it, or back to the sheet, which asks for the coat no longer.
fn afterwards(code: &str, deed: &Deed, mut asked: Asked) -> String {
    match deed {
        Deed::Pour | Deed::Demold => format!("/casts/{code}"),
        Deed::Coat(_) => {
            coat_form::forget(&mut asked);
            format!("/casts/{code}/bench-sheet?{}#next", asked.query())
        }
    }
}

/// A record that was refused: which, the place of the coat if it was one, and what is wrong with it as a whole.
type Failed = (Deed, Option<usize>, Vec<String>);

/// The page, with a record that was refused.
fn shown(
    found: Facts,
    frame: Frame,
    session: &Session,
    here: Here,
    refused: Option<Failed>,
) -> Result<SheetPage, Error> {
    let (sheet, asked) = (&found.sheet, &found.asked);
    let words = Words {
        names: &found.materials,
        places: places(sheet),
        zone: here.zone,
        on: sheet.cast_on,
    };
    let progress = progress(sheet, asked, here.may);
    let coat = refused.as_ref().and_then(|(_, coat, _)| *coat);
    let fault = refused.map(|(.., whole)| match whole.is_empty() {
        true => "It was not recorded: something is marked above or here.".to_owned(),
        false => format!("It was not recorded: {}.", whole.join("; ")),
    });
    let steps = steps(
        &steps::Facts {
            sheet,
            asked,
            weighed: &found.weighed,
            mixed: &found.mixed,
            packs: found.packs.as_ref(),
            progress: &progress,
            coat_fault: coat.zip(fault.clone()),
            now: here.now,
        },
        &words,
    )?;
    // What is wrong with a coat stands at the coat.
    let fault = fault.filter(|_| coat.is_none());
    let card = |state: &str| here.may && sheet.state == state;
    let pour = card("booked").then(|| pour_card(sheet, asked, &words, here.today, fault.clone()));
    let count = card("poured").then(|| count_card(sheet, asked, here.today, fault.clone()));
    let waits = progress.next.and_then(|at| sheet.steps.get(at));
    let next = match (waits, &pour, &count) {
        (Some(step), _, _) => Some((
            format!("step-{}", step.no),
            format!("{} {}", step.no, step.title),
        )),
        (None, Some(_), _) => Some(("record".to_owned(), "Record the pour".to_owned())),
        (None, _, Some(_)) => Some(("record".to_owned(), "Count the chips".to_owned())),
        (None, None, None) => None,
    };
    let all = sheet.steps.len();
    Ok(SheetPage {
        about: format!(
            "{}, {}",
            sheet.recipe_name,
            counted(sheet.containers, "tray", "trays")
        ),
        head: head(sheet, here),
        short: sheet.short,
        recorded: sheet.recorded.as_ref().map(|of| recorded(of, here)),
        over: sheet.state == "demolded",
        heat: sheet.heat_override_reason.clone(),
        hazards: sheet
            .hazards
            .iter()
            .map(|of| (of.name.clone(), of.statements.join("; ")))
            .collect(),
        cautions: (1..)
            .zip(&sheet.cautions)
            .map(|(nth, says)| caution(asked, says, None, format!("0.{nth}")))
            .collect(),
        dense: found.weighed.len().max(sheet_batches(sheet)) > 2,
        fault: fault.filter(|_| pour.is_none() && count.is_none()),
        bar: Bar {
            next,
            ticked: format!("{} of {all} steps done", progress.done()),
            clocks: running(sheet, &progress, &found.mixed, &words, here.now),
        },
        pour,
        count,
        form_key: session.form_key.clone(),
        closing: sheet.closing.clone(),
        code: sheet.cast.clone(),
        frame,
        steps,
    })
}

fn sheet_batches(sheet: &BenchSheet) -> usize {
    let batches = sheet.steps.iter().filter_map(|step| step.batch).max();
    batches.map_or(0, |last| usize::try_from(last).unwrap_or(0))
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
