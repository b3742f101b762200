//! The addresses of cost: the page, and the report as files, since a session does not open the API.

use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, HeaderName, HeaderValue};
use actix_web::web::{Data, Query, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse, get};
use askama::Template;
use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::asked::{CostAsked, CostQuery, Faults, GROUPINGS, filled};
use super::curves::{DrainCurve, SizeCurve, drain_curve, size_curve};
use super::figures::{full_day, period_words};
use super::months::{Months, months};
use super::ops::{CurveFacts, Facts, facts, recipes};
use super::stack::{ORDER, Stacks, gloss, stacks};
use super::table::{CostTable, component_names, cost_table};
use crate::base::{Currency, Error};
use crate::costing::period::Period;
use crate::costing::report_answer;
use crate::costing::reports::{Asked, Format, ReportBy};
use crate::http::sessions::Session;
use crate::http::{Problem, Service};
use crate::pages::frame::{Frame, Place, page};
use crate::pages::refusal::Refused;

pub(in crate::pages) fn routes(config: &mut ServiceConfig) {
    config
        .service(cost_get)
        .service(report_csv_get)
        .service(report_xlsx_get);
}

#[derive(Template)]
#[template(path = "cost/cost.html", config = "src/pages/askama.toml")]
struct CostPage {
    frame: Frame,
    form: CostForm,
    /// None when something of the form is wrong.
    report: Option<Shown>,
}

/// The form as it is shown.
struct CostForm {
    typed: CostQuery,
    faults: Faults,
    groupings: Vec<(&'static str, &'static str, bool)>,
    /// Codes and names, and whether chosen.
    recipes: Vec<(String, String, bool)>,
    /// A recipe that was typed and is none.
    unknown: Option<String>,
}

/// What is shown of the report.
struct Shown {
    period: String,
    lab_day: String,
    by: &'static str,
    currency: Currency,
    kept: bool,
    /// Who pays, where rows are grants.
    payers: Vec<String>,
    csv: String,
    xlsx: String,
    components: [&'static str; 10],
    legend: Vec<(usize, &'static str, &'static str)>,
    table: CostTable,
    stacks: Stacks,
    months: Months,
    curves: Option<Curves>,
}

/// The curves of a recipe.
struct Curves {
    recipe: String,
    drain: DrainCurve,
    sizes: SizeCurve,
}

fn query<T: DeserializeOwned>(request: &HttpRequest) -> Result<T, Refused> {
    Query::<T>::from_query(request.query_string())
        .map(Query::into_inner)
        .map_err(|error| Refused::new(request, Problem::bad_query(&error.to_string())))
}

#[get("/cost")]
async fn cost_get(
    service: Data<Service>,
    request: HttpRequest,
    session: Session,
) -> Result<HttpResponse, Refused> {
    let typed: CostQuery = query(&request)?;
    let (asked, mut faults) = match typed.parse() {
        Ok(asked) => (Some(asked), Faults::default()),
        Err(faults) => (None, faults),
    };
    let (reader, wanted) = (Service::clone(&service), asked.clone());
    let (named, found) = service
        .read(move |conn| {
            let named = recipes(conn)?;
            let found = wanted.map(|asked| facts(conn, &asked, &named, &reader));
            Ok((named, found.transpose()?))
        })
        .await
        .map_err(|problem| Refused::new(&request, problem))?;
    faults.recipe = found.as_ref().and_then(|found| found.fault.clone());
    let status = match faults == Faults::default() {
        true => StatusCode::OK,
        false => StatusCode::BAD_REQUEST,
    };
    let failed = |error: Error| Refused::new(&request, error);
    let report = asked
        .zip(found)
        .map(|(asked, found)| shown(&asked, &found, &service));
    let page_shown = CostPage {
        frame: Frame::new("Cost", Place::Cost, &service, Some(&session)),
        form: form(typed, faults, named),
        report: report.transpose().map_err(failed)?,
    };
    page(status, &page_shown).map_err(failed)
}

fn form(typed: CostQuery, faults: Faults, named: Vec<(String, String)>) -> CostForm {
    let chosen = filled(&typed.group_by).unwrap_or(GROUPINGS[0].0.as_str());
    CostForm {
        groupings: GROUPINGS
            .into_iter()
            .map(|(by, words)| (by.as_str(), words, by.as_str() == chosen))
            .collect(),
        unknown: faults.recipe.as_ref().map(|_| typed.recipe.clone()),
        recipes: named
            .into_iter()
            .map(|(code, name)| {
                let chosen = code == typed.recipe;
                (code, name, chosen)
            })
            .collect(),
        typed,
        faults,
    }
}

fn shown(asked: &CostAsked, found: &Facts, service: &Service) -> Result<Shown, Error> {
    let currency = found.report.currency;
    let table = cost_table(&found.report)?;
    let payers = table.rows.iter().map(|row| match &row.code {
        Some(code) => format!("{} ({code})", row.name),
        None => row.name.clone(),
    });
    let by_grant = asked.by == GROUPINGS[0].0;
    Ok(Shown {
        period: period_words(asked.period),
        lab_day: full_day(service.today()),
        by: asked.by.as_str(),
        currency,
        kept: found.kept,
        payers: payers.filter(|_| by_grant).collect(),
        csv: asked.file("csv"),
        xlsx: asked.file("xlsx"),
        components: component_names(),
        legend: (1..)
            .zip(ORDER)
            .map(|(number, part)| (number, part.as_str(), gloss(part)))
            .collect(),
        stacks: stacks(&found.report)?,
        months: months(&found.months)?,
        curves: found
            .curves
            .as_ref()
            .map(|facts| curves(facts, currency))
            .transpose()?,
        table,
    })
}

fn curves(facts: &CurveFacts, currency: Currency) -> Result<Curves, Error> {
    Ok(Curves {
        recipe: facts.recipe.clone(),
        drain: drain_curve(&facts.drain, &facts.sooner, currency)?,
        sizes: size_curve(&facts.recipe, &facts.sizes, currency)?,
    })
}

/// The query of a file, which is that of the API but for the format.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileQuery {
    from: Option<String>,
    to: Option<String>,
    group_by: Option<String>,
}

#[get("/cost/report.csv")]
async fn report_csv_get(
    service: Data<Service>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    file(&service, &request, Format::Csv).await
}

#[get("/cost/report.xlsx")]
async fn report_xlsx_get(
    service: Data<Service>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    file(&service, &request, Format::Xlsx).await
}

/// The report as a file, as the API gives it; no cache keeps it.
async fn file(
    service: &Data<Service>,
    request: &HttpRequest,
    format: Format,
) -> Result<HttpResponse, Refused> {
    let query: FileQuery = query(request)?;
    let wrong = |detail: String| Refused::new(request, Problem::bad_query(&detail));
    let period = Period::parse(query.from.as_deref(), query.to.as_deref())
        .map_err(|error| wrong(error.to_string()))?;
    let report = ReportBy::parse("replica-cost", query.group_by.as_deref()).map_err(wrong)?;
    let mut answer = report_answer(service, Asked { report, period }, format)
        .await
        .map_err(|problem| Refused::new(request, problem))?;
    let headers = answer.headers_mut();
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(
        HeaderName::from_static("x-content-type-options"),
        HeaderValue::from_static("nosniff"),
    );
    Ok(answer)
}
