//! The address of files of exchange rates: a file in, what became of each row out.
//!
//! Invariant: a query value that is not known is refused, since a misspelt `dry_run` would write.

use actix_web::web::Data;
use actix_web::{HttpResponse, post};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::imports::CsvBody;
use crate::http::{Answer, ProblemBody, Query, RawBody, Reply, Service};
use crate::purchasing::csv_file::{Delimiter, Encoding, FileFormat, Limits};
use crate::purchasing::number::DecimalMark;
use crate::purchasing::ops::{
    RateImportSettings, csv_limits, rate_import_commit, rate_import_preview,
};
use crate::purchasing::rate_report::{RateImportReport, RateOutcome};

pub(super) fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.service(rate_import_create);
}

/// How a file is written and how it is to be taken.
#[derive(Debug, Clone, Copy, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields, default)]
struct RateImportQuery {
    /// Whether to show only what would happen.
    dry_run: bool,
    /// What stands between two cells.
    #[param(inline)]
    delimiter: Delimiter,
    /// What stands before the decimals.
    #[param(inline)]
    decimal: DecimalMark,
    /// How the bytes stand for characters.
    #[param(inline)]
    encoding: Encoding,
}

impl RateImportQuery {
    fn settings(self, limits: Limits) -> RateImportSettings {
        RateImportSettings {
            format: FileFormat {
                delimiter: self.delimiter,
                encoding: self.encoding,
                limits,
            },
            decimal: self.decimal,
        }
    }
}

/// Enters the exchange rates of a file, all of them or none.
///
/// Columns, in any order: currency, rate_on, rate; and, where there is something to say, quote (`base_per_foreign` unless
/// said, or `foreign_per_base`) and source. A rate of a day that has one replaces it; what was received meanwhile keeps its
/// cost. A currency and day that stand twice in one file are an error.
#[utoipa::path(
    tag = "purchasing",
    params(RateImportQuery, ("Idempotency-Key" = Option<String>, Header, description = "A text of your own; a repeat with the same key is answered from the books")),
    request_body(content = String, content_type = "text/csv", description = "The file"),
    responses(
        (status = 200, description = "What would happen (`dry_run`), rows in error included; or no rate was new for its day", body = RateImportReport),
        (status = 201, description = "Rates were entered", body = RateImportReport, headers(("Location" = String, description = "The rates"))),
        (status = 400, description = "A query value is not understood", body = ProblemBody, content_type = "application/problem+json"),
        (status = 413, description = "The file is too long", body = ProblemBody, content_type = "application/problem+json"),
        (status = 415, description = "The body is not text/csv", body = ProblemBody, content_type = "application/problem+json"),
        (status = 422, description = "Nothing was written: `rows` has every row in error, and is empty when the file as a whole cannot be used", body = ProblemBody, content_type = "application/problem+json"),
    )
)]
#[post("/v1/exchange-rates/imports")]
async fn rate_import_create(
    service: Data<Service>,
    _kind: CsvBody,
    body: RawBody,
    query: Query<RateImportQuery>,
) -> Answer {
    let settings = query.settings(csv_limits(&service));
    let (bytes, request) = body.split();
    if query.dry_run {
        let circumstances = (service.today(), service.base_currency());
        let report = service
            .read(move |conn| rate_import_preview(conn, &bytes, &settings, circumstances))
            .await?;
        return Ok(HttpResponse::Ok().json(report));
    }
    service
        .write(request, move |tx| {
            let report = rate_import_commit(tx, &bytes, &settings)?;
            match report.count(RateOutcome::Entered) {
                0 => Reply::ok(&report),
                _ => Reply::created("/v1/exchange-rates".to_owned(), &report),
            }
        })
        .await
}
