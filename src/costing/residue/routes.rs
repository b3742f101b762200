//! The door of the residue report.

use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use serde::Deserialize;
use utoipa::IntoParams;

use super::grouping::ResidueBy;
use super::ops::residue;
use super::report_csv::{residue_csv, residue_file_name};
use super::view::ResidueReport;
use crate::costing::period::Period;
use crate::costing::routes::{Format, not_one_of};
use crate::http::{Answer, Problem, ProblemBody, Query, Service};

/// The query of the residue report.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct ResidueQuery {
    /// The first day of pouring, YYYY-MM-DD; open unless said.
    #[param(format = Date)]
    from: Option<String>,
    /// The last day of pouring, YYYY-MM-DD; open unless said.
    #[param(format = Date)]
    to: Option<String>,
    /// `cup`, `recipe`, `month`, `grant` or `cast`; `cup` (with its elastomer) unless said.
    #[param(pattern = "^(cup|recipe|month|grant|cast)$")]
    group_by: Option<String>,
    /// `json` or `csv`; `json` unless said. The CSV holds the rows, not the weighings and drain times.
    #[param(pattern = "^(json|csv)$")]
    format: Option<String>,
}

impl ResidueQuery {
    /// What is asked for.
    fn parse(&self) -> Result<(Period, ResidueBy, Format), Problem> {
        let period = Period::parse(self.from.as_deref(), self.to.as_deref())
            .map_err(|e| Problem::bad_query(&e.to_string()))?;
        let by = match self.group_by.as_deref() {
            None => ResidueBy::default(),
            Some(word) => ResidueBy::from_word(word)
                .ok_or_else(|| not_one_of("group_by", word, "cup, recipe, month, grant, cast"))?,
        };
        Ok((period, by, Format::parse(self.format.as_deref())?))
    }
}

/// Report what stayed in the cups, predicted against weighed, and what longer draining would save, over the casts poured in a period.
#[utoipa::path(
    tag = "reports",
    params(ResidueQuery),
    responses(
        (status = 200, description = "The report; as CSV, one record for each row, the total and the casts of which no cup was weighed", content(
            (ResidueReport = "application/json"),
            (String = "text/csv"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/residue")]
pub(in crate::costing) async fn residue_get(
    service: Data<Service>,
    query: Query<ResidueQuery>,
) -> Answer {
    let (period, by, format) = query.parse()?;
    let currency = service.base_currency();
    let report = service
        .read(move |conn| residue(conn, period, by, currency))
        .await?;
    if format == Format::Json {
        return Ok(HttpResponse::Ok().json(report));
    }
    let disposition = format!("attachment; filename=\"{}\"", residue_file_name(by, period));
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8")
        .insert_header((CONTENT_DISPOSITION, disposition))
        .body(residue_csv(&report)))
}
