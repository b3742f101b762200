//! `heeltap import-rates FILE`: enters a file of exchange rates into the database itself, for whoever can reach it.
//!
//! Invariants: what became of the rows goes to standard output; it ends with 1 when a row is in error, in a dry run too.
//! Deliberately absent: what is right and wrong with a file (the purchasing room knows).

use std::path::PathBuf;

use clap::Args;
use serde_json::Value;

use super::failure::Failure;
use super::import::{decimal, delimiter, encoding, tell_cells};
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::base::{Error, Refusal, RefusalKind};
use crate::http::Service;
use crate::purchasing::csv_file::{Delimiter, Encoding, FileFormat};
use crate::purchasing::csv_limits;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::ops::{RateImportSettings, rate_import_commit, rate_import_preview};
use crate::purchasing::rate_report::{RateImportReport, RateOutcome, RateRowReport};

/// Who acts, in the books.
const ACTOR: &str = "import-rates";

/// The file and how it is to be taken.
#[derive(Debug, Args)]
pub(super) struct ImportRates {
    /// The file of rates, with the columns currency, rate_on, rate and, as wanted, quote and source.
    file: PathBuf,
    /// Show what would happen, and write nothing.
    #[arg(long)]
    dry_run: bool,
    /// What stands between two cells: comma, semicolon or tab.
    #[arg(long, default_value = "comma", value_parser = delimiter)]
    delimiter: Delimiter,
    /// What stands before the decimals: point or comma.
    #[arg(long, default_value = "point", value_parser = decimal)]
    decimal: DecimalMark,
    /// How the bytes stand for characters: utf-8 or windows-1252.
    #[arg(long, default_value = "utf-8", value_parser = encoding)]
    encoding: Encoding,
}

pub(super) fn run(given: &Given, import: &ImportRates) -> Result<(), Failure> {
    let shown = import.file.display();
    let bytes = std::fs::read(&import.file)
        .map_err(|e| Failure::Failed(format!("{shown} cannot be read: {e}")))?;
    let service = app::open(&given.settings()?, Outside::default())?;
    match take(&service, &bytes, import) {
        Ok(report) => told(&report),
        Err(Error::Refused(refusal)) if refusal.kind == RefusalKind::ImportRejected => {
            refused(*refusal)
        }
        Err(error) => Err(error.into()),
    }
}

fn take(service: &Service, bytes: &[u8], import: &ImportRates) -> Result<RateImportReport, Error> {
    let settings = RateImportSettings {
        format: FileFormat {
            delimiter: import.delimiter,
            encoding: import.encoding,
            limits: csv_limits(service),
        },
        decimal: import.decimal,
    };
    if import.dry_run {
        let circumstances = (service.today(), service.base_currency());
        return service
            .db()
            .read(|conn| rate_import_preview(conn, bytes, &settings, circumstances));
    }
    service.as_actor(ACTOR, |tx| rate_import_commit(tx, bytes, &settings))
}

/// Says what became of the rows.
fn told(report: &RateImportReport) -> Result<(), Failure> {
    for row in &report.rows {
        tell_cells(row.line, &row.errors, &row.warnings)?;
    }
    let counts: Vec<String> = RateOutcome::ALL
        .iter()
        .map(|outcome| format!("{} {}", report.count(*outcome), outcome.as_str()))
        .collect();
    let all = report.rows.len();
    let would = if report.dry_run {
        "; nothing was written"
    } else {
        ""
    };
    say(&format!("{all} rows: {}{would}", counts.join(", ")))?;
    match report.count(RateOutcome::Error) {
        0 => Ok(()),
        bad => Err(Failure::Failed(format!(
            "{bad} of {all} rows are in error: nothing would be written"
        ))),
    }
}

/// Says what is wrong with a file that was refused.
fn refused(mut refusal: Refusal) -> Result<(), Failure> {
    let rows = refusal.members.remove("rows").unwrap_or(Value::Null);
    let rows: Vec<RateRowReport> = serde_json::from_value(rows)
        .map_err(|e| Failure::Failed(format!("the refusal cannot be read: {e}")))?;
    for row in &rows {
        tell_cells(row.line, &row.errors, &row.warnings)?;
    }
    Err(Failure::Failed(refusal.detail))
}
