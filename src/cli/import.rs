//! `heeltap import FILE`: imports a purchase file into the database itself, for whoever can reach it.
//!
//! Invariants: what became of the rows goes to standard output, one line for each outcome and each thing to look at; a
//! progress bar is drawn on standard error when that is a terminal, and nowhere else. It ends with 1 when a row is in
//! error, in a dry run too. Deliberately absent: what is right and wrong with a file (the purchasing room knows).

use std::io::IsTerminal;
use std::path::PathBuf;
use std::time::Duration;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::Value;

use super::failure::Failure;
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside};
use crate::base::{Error, Refusal, RefusalKind};
use crate::http::Service;
use crate::purchasing::csv_file::{CellError, Delimiter, Encoding, FileFormat};
use crate::purchasing::csv_limits;
use crate::purchasing::import::ImportOptions;
use crate::purchasing::landed::SpreadBasis;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::ops::{ImportSettings, Progress, import_commit_watched, import_preview};
use crate::purchasing::report::{ImportReport, Outcome, RowReport};
use crate::purchasing::row::CellWarning;

/// Who acts, in the books.
const ACTOR: &str = "import";

/// The file and how it is to be taken.
#[derive(Debug, Args)]
pub(super) struct Import {
    /// The purchase file.
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
    /// The same freight on every row of an order is each row's own, and not the order's repeated.
    #[arg(long)]
    confirm_repeated_freight: bool,
    /// What freight, duty and fees of an order are spread over its lines by: value, mass or count.
    #[arg(long, default_value = "value", value_parser = spread_by)]
    spread_by: SpreadBasis,
}

pub(super) fn delimiter(name: &str) -> Result<Delimiter, String> {
    Delimiter::parse(name).ok_or_else(|| "write comma, semicolon or tab".to_owned())
}

pub(super) fn decimal(name: &str) -> Result<DecimalMark, String> {
    DecimalMark::parse(name).ok_or_else(|| "write point or comma".to_owned())
}

pub(super) fn encoding(name: &str) -> Result<Encoding, String> {
    Encoding::parse(name).ok_or_else(|| "write utf-8 or windows-1252".to_owned())
}

fn spread_by(name: &str) -> Result<SpreadBasis, String> {
    SpreadBasis::parse(name).ok_or_else(|| "write value, mass or count".to_owned())
}

impl Import {
    fn settings(&self, service: &Service) -> ImportSettings {
        ImportSettings {
            format: FileFormat {
                delimiter: self.delimiter,
                encoding: self.encoding,
                limits: csv_limits(service),
            },
            decimal: self.decimal,
            options: ImportOptions {
                confirm_repeated_freight: self.confirm_repeated_freight,
                spread_by: self.spread_by,
            },
        }
    }
}

pub(super) fn run(given: &Given, import: &Import) -> Result<(), Failure> {
    let shown = import.file.display();
    let bytes = std::fs::read(&import.file)
        .map_err(|e| Failure::Failed(format!("{shown} cannot be read: {e}")))?;
    let service = app::open(&given.settings()?, Outside::default())?;
    let bar = progress(&format!("importing {shown}"));
    let outcome = take(&service, &bytes, import, &bar);
    bar.finish_and_clear();
    match outcome {
        Ok(report) => told(&report),
        Err(Error::Refused(refusal)) if refusal.kind == RefusalKind::ImportRejected => {
            refused(*refusal)
        }
        Err(error) => Err(error.into()),
    }
}

fn take(
    service: &Service,
    bytes: &[u8],
    import: &Import,
    bar: &ProgressBar,
) -> Result<ImportReport, Error> {
    let settings = import.settings(service);
    if import.dry_run {
        let circumstances = (service.today(), service.base_currency());
        return service
            .db()
            .read(|conn| import_preview(conn, bytes, &settings, circumstances));
    }
    let mut watch = |progress: Progress| {
        if bar.length() != Some(progress.all) {
            bar.set_length(progress.all);
            bar.set_style(style("{msg} {bar:40} {pos}/{len} lots {elapsed}"));
        }
        bar.set_position(progress.done);
    };
    service.as_actor(ACTOR, |tx| {
        import_commit_watched(tx, bytes, &settings, &mut watch)
    })
}

/// A bar on a terminal. While the file is read and decided on, it only moves; once the lots are made, it counts them.
fn progress(message: &str) -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let bar = ProgressBar::new_spinner().with_style(style("{spinner} {msg} {elapsed}"));
    bar.set_message(message.to_owned());
    bar.enable_steady_tick(Duration::from_millis(100));
    bar
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}

/// Says what became of the rows.
fn told(report: &ImportReport) -> Result<(), Failure> {
    for row in &report.rows {
        tell_cells(row.line, &row.errors, &row.warnings)?;
    }
    let counts: Vec<String> = Outcome::ALL
        .iter()
        .map(|outcome| format!("{} {}", report.count(*outcome), outcome.as_str()))
        .collect();
    let (rows, lots) = (report.rows.len(), report.lots_created);
    let would = if report.dry_run { "would be " } else { "" };
    say(&format!(
        "{rows} rows: {}; {lots} lots {would}created",
        counts.join(", ")
    ))?;
    if report.has_errors() {
        let bad = report.count(Outcome::Error);
        return Err(Failure::Failed(format!(
            "{bad} of {rows} rows are in error: nothing would be written"
        )));
    }
    Ok(())
}

/// Says what is wrong with the cells of a line, and what to look at.
pub(super) fn tell_cells(
    line: u64,
    errors: &[CellError],
    warnings: &[CellWarning],
) -> Result<(), Failure> {
    for error in errors {
        say(&format!(
            "line {line}, column {}: value {}: {}",
            error.column, error.value, error.detail
        ))?;
    }
    for warning in warnings {
        say(&format!(
            "line {line}, column {}: value {}: warning: {}",
            warning.column, warning.value, warning.detail
        ))?;
    }
    Ok(())
}

/// Says what is wrong with a file that was refused.
fn refused(mut refusal: Refusal) -> Result<(), Failure> {
    let rows = refusal.members.remove("rows").unwrap_or(Value::Null);
    let rows: Vec<RowReport> = serde_json::from_value(rows)
        .map_err(|e| Failure::Failed(format!("the refusal cannot be read: {e}")))?;
    for row in &rows {
        tell_cells(row.line, &row.errors, &row.warnings)?;
    }
    Err(Failure::Failed(refusal.detail))
}
