//! The costing room's doors: reports.

use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::grouping::GroupBy;
use super::ops::replica_cost;
use super::period::Period;
use super::report::ReplicaCost;
use super::report_csv::{file_name, report_csv};
use crate::http::{Answer, Problem, ProblemBody, Query, Service};

/// Adds the costing room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(replica_cost_get)
        .service(super::residue::routes::residue_get);
}

/// The query of a report.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct ReportQuery {
    /// The first day of demoulding, YYYY-MM-DD; open unless said.
    #[param(format = Date)]
    from: Option<String>,
    /// The last day of demoulding, YYYY-MM-DD; open unless said.
    #[param(format = Date)]
    to: Option<String>,
    /// `grant`, `month`, `recipe` or `cast`; `grant` unless said.
    #[param(pattern = "^(grant|month|recipe|cast)$")]
    group_by: Option<String>,
    /// `json` or `csv`; `json` unless said.
    #[param(pattern = "^(json|csv)$")]
    format: Option<String>,
}

/// How a report is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    Json,
    Csv,
}

impl Format {
    /// The format of a word; JSON unless one is given.
    pub(super) fn parse(word: Option<&str>) -> Result<Self, Problem> {
        match word {
            None | Some("json") => Ok(Self::Json),
            Some("csv") => Ok(Self::Csv),
            Some(word) => Err(not_one_of("format", word, "json, csv")),
        }
    }
}

impl ReportQuery {
    /// What is asked for.
    fn parse(&self) -> Result<(Period, GroupBy, Format), Problem> {
        let period = Period::parse(self.from.as_deref(), self.to.as_deref())
            .map_err(|e| Problem::bad_query(&e.to_string()))?;
        let by = match self.group_by.as_deref() {
            None => GroupBy::default(),
            Some(word) => GroupBy::from_word(word)
                .ok_or_else(|| not_one_of("group_by", word, "grant, month, recipe, cast"))?,
        };
        Ok((period, by, Format::parse(self.format.as_deref())?))
    }
}

pub(super) fn not_one_of(name: &str, word: &str, words: &str) -> Problem {
    let word: String = word.chars().take(32).collect();
    Problem::bad_query(&format!("{name} `{word}` is not one of {words}"))
}

/// Report what replicas cost, by grant, month, recipe or cast, by component and per good chip, over the casts demoulded in a period.
#[utoipa::path(
    tag = "reports",
    params(ReportQuery),
    responses(
        (status = 200, description = "The report; as CSV, one record for each row, the total and the work in progress", content(
            (ReplicaCost = "application/json"),
            (String = "text/csv"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/replica-cost")]
async fn replica_cost_get(service: Data<Service>, query: Query<ReportQuery>) -> Answer {
    let (period, by, format) = query.parse()?;
    let currency = service.base_currency();
    let report = service
        .read(move |conn| replica_cost(conn, period, by, currency))
        .await?;
    if format == Format::Json {
        return Ok(HttpResponse::Ok().json(report));
    }
    let disposition = format!("attachment; filename=\"{}\"", file_name(by, period));
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8")
        .insert_header((CONTENT_DISPOSITION, disposition))
        .body(report_csv(&report, currency)))
}
