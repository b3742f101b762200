//! The addresses of the reports.

use actix_web::get;
use actix_web::web::Data;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::answer::report_answer;
use crate::costing::charges::statement::ChargeStatement;
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::GroupBy;
use crate::costing::replica_cost::report::ReplicaCost;
use crate::costing::reports::{Asked, Format, ReportBy};
use crate::costing::residue::grouping::ResidueBy;
use crate::costing::residue::view::ResidueReport;
use crate::costing::stock_value::grouping::StockBy;
use crate::costing::stock_value::report::StockValue;
use crate::costing::waste::grouping::WasteBy;
use crate::costing::waste::report::WasteReport;
use crate::http::{Answer, Problem, ProblemBody, Query, Service};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(replica_cost_get)
        .service(waste_get)
        .service(stock_value_get)
        .service(residue_get)
        .service(charges_get);
}

/// The query of a report.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
struct ReportQuery {
    /// The first day, YYYY-MM-DD; open unless said.
    #[param(format = Date)]
    from: Option<String>,
    /// The last day, YYYY-MM-DD; open unless said.
    #[param(format = Date)]
    to: Option<String>,
    /// Each report says by what its rows are grouped.
    #[param(ignore)]
    group_by: Option<String>,
    /// `json`, `csv` or `xlsx`; `json` unless said.
    #[param(pattern = "^(json|csv|xlsx)$")]
    format: Option<String>,
}

impl ReportQuery {
    /// What is asked for.
    fn parse(&self, name: &str) -> Result<(Asked, Format), Problem> {
        let wrong = |detail: String| Problem::bad_query(&detail);
        let period = Period::parse(self.from.as_deref(), self.to.as_deref())
            .map_err(|e| wrong(e.to_string()))?;
        let report = ReportBy::parse(name, self.group_by.as_deref()).map_err(wrong)?;
        let format = Format::parse(self.format.as_deref()).map_err(wrong)?;
        Ok((Asked { report, period }, format))
    }
}

/// Report what replicas cost, by `grant`, `month`, `recipe`, `material` or `cast`, by component and per good chip, over the casts demoulded in a period.
#[utoipa::path(
    tag = "reports",
    params(ReportQuery, ("group_by" = Option<GroupBy>, Query, description = "By what the rows are grouped; the first of these unless said")),
    responses(
        (status = 200, description = "The report; as a file, one record for each row, the total and the work in progress", content(
            (ReplicaCost = "application/json"),
            (String = "text/csv"),
            (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/replica-cost")]
async fn replica_cost_get(service: Data<Service>, query: Query<ReportQuery>) -> Answer {
    let (asked, format) = query.parse("replica-cost")?;
    report_answer(&service, asked, format).await
}

/// Report what was paid for and became no good chip, by `grant`, `material`, `month`, `recipe` or `cast`: within the casts demoulded in a period, and lost outside of casts on its days.
#[utoipa::path(
    tag = "reports",
    params(ReportQuery, ("group_by" = Option<WasteBy>, Query, description = "By what the rows are grouped; the first of these unless said")),
    responses(
        (status = 200, description = "The report; as a file, one record for each row, the total, and each part of a kit that is stranded on the shelf", content(
            (WasteReport = "application/json"),
            (String = "text/csv"),
            (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/waste")]
async fn waste_get(service: Data<Service>, query: Query<ReportQuery>) -> Answer {
    let (asked, format) = query.parse("waste")?;
    report_answer(&service, asked, format).await
}

/// Report what the stock is worth at the end of a period and what changed that since its beginning, by `material`, `grant` (who paid), `month` (of receipt) or `lot`.
#[utoipa::path(
    tag = "reports",
    params(ReportQuery, ("group_by" = Option<StockBy>, Query, description = "By what the rows are grouped; the first of these unless said")),
    responses(
        (status = 200, description = "The report; as a file, one record for each row, the total, and the value in coats and moulds", content(
            (StockValue = "application/json"),
            (String = "text/csv"),
            (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/stock-value")]
async fn stock_value_get(service: Data<Service>, query: Query<ReportQuery>) -> Answer {
    let (asked, format) = query.parse("stock-value")?;
    report_answer(&service, asked, format).await
}

/// Report what stayed in the cups, predicted against weighed, and what longer draining would save, by `cup` (with its elastomer), `recipe`, `month`, `grant` or `cast`, over the casts poured in a period.
#[utoipa::path(
    tag = "reports",
    params(ReportQuery, ("group_by" = Option<ResidueBy>, Query, description = "By what the rows are grouped; the first of these unless said")),
    responses(
        (status = 200, description = "The report; as a file, one record for each row, the total and the casts of which no cup was weighed", content(
            (ResidueReport = "application/json"),
            (String = "text/csv"),
            (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/residue")]
async fn residue_get(service: Data<Service>, query: Query<ReportQuery>) -> Answer {
    let (asked, format) = query.parse("residue")?;
    report_answer(&service, asked, format).await
}

/// State what each grant is charged for the casts demoulded in a period and the price corrections posted in it, what of that it has paid already with lots of its own, and what grants owe each other.
#[utoipa::path(
    tag = "reports",
    params(ReportQuery, ("group_by" = Option<String>, Query, description = "By what the rows are grouped", pattern = "^grant$")),
    responses(
        (status = 200, description = "The statement; as a file, one record for each grant, the total, and each cross-charge", content(
            (ChargeStatement = "application/json"),
            (String = "text/csv"),
            (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        )),
        (status = "default", description = "A problem", body = ProblemBody, content_type = "application/problem+json"),
    ),
    security(("bearer" = []))
)]
#[get("/v1/reports/charges")]
async fn charges_get(service: Data<Service>, query: Query<ReportQuery>) -> Answer {
    let (asked, format) = query.parse("charges")?;
    report_answer(&service, asked, format).await
}
