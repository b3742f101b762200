//! `heeltap report NAME`: writes a report from the database itself, into a file or to standard output.
//!
//! Invariants: the file appears under its name whole or not at all, and never over another; it is the same, byte for byte,
//! as the service gives. Deliberately absent: what the reports say (the costing room knows).

use std::fs::OpenOptions;
use std::io::{BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::failure::Failure;
use super::output::{say, tell};
use super::part::{Part, taken};
use super::settings::Given;
use crate::app::{self, Outside};
use crate::costing::export::csv_file::{csv_head, csv_part};
use crate::costing::export::xlsx_file::xlsx_whole;
use crate::costing::ops::report_make;
use crate::costing::period::Period;
use crate::costing::periods::ops::report_kept;
use crate::costing::reports::{Asked, Format, Report as Made, ReportBy};
use crate::http::Service;

/// How much of a CSV is written at a time, in bytes.
const PART_BYTES: usize = 64 * 1024;

/// Which report, over which days, and where it goes.
#[derive(Debug, Args)]
pub(super) struct Report {
    /// replica-cost, waste, stock-value, residue or charges.
    name: String,
    /// The first day, YYYY-MM-DD; open unless said.
    #[arg(long)]
    from: Option<String>,
    /// The last day, YYYY-MM-DD; open unless said.
    #[arg(long)]
    to: Option<String>,
    /// By what the rows are grouped, such as grant or month; each report has its usual one.
    #[arg(long)]
    group_by: Option<String>,
    /// json, csv or xlsx; unless said, that of the file's ending, and json without one.
    #[arg(long)]
    format: Option<String>,
    /// The file to make; standard output unless said.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

impl Report {
    /// What is asked for.
    fn asked(&self) -> Result<(Asked, Format), Failure> {
        let period = Period::parse(self.from.as_deref(), self.to.as_deref())
            .map_err(|e| Failure::Usage(e.to_string()))?;
        let report =
            ReportBy::parse(&self.name, self.group_by.as_deref()).map_err(Failure::Usage)?;
        let format = match (&self.format, &self.out) {
            (Some(word), _) => Format::parse(Some(word)).map_err(Failure::Usage)?,
            (None, Some(out)) => ending(out),
            (None, None) => Format::Json,
        };
        if format == Format::Xlsx && self.out.is_none() {
            let text = "a spreadsheet is no text: name a file with --out";
            return Err(Failure::Usage(text.to_owned()));
        }
        Ok((Asked { report, period }, format))
    }
}

/// The format of a file's ending; JSON when it has none that is known.
fn ending(out: &Path) -> Format {
    let ending = out.extension().and_then(|ending| ending.to_str());
    Format::parse(ending).unwrap_or_default()
}

pub(super) fn run(given: &Given, report: &Report) -> Result<(), Failure> {
    let (asked, format) = report.asked()?;
    let service = app::open(&given.settings_of_existing()?, Outside::default())?;
    let Some(out) = &report.out else {
        let written = write(&service, asked, format, &mut Text)?;
        return if written.ends_line { Ok(()) } else { say("") };
    };
    let file = std::path::absolute(out)?;
    if std::fs::symlink_metadata(&file).is_ok() {
        return Err(taken(&file));
    }
    let part = Part::begin_new(&file)?;
    let mut writer = BufWriter::new(OpenOptions::new().write(true).open(part.path())?);
    let written = write(&service, asked, format, &mut writer)?;
    writer.flush()?;
    drop(writer);
    let bytes = part.bytes()?;
    part.settle()?;
    say(&format!(
        "{}: {} by {}, {}, {} records, {bytes} bytes",
        file.display(),
        asked.report.name(),
        asked.report.group_by(),
        asked.period,
        written.records
    ))
}

/// Standard output, which may have no reader any more.
struct Text;

impl Write for Text {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        tell(&String::from_utf8_lossy(bytes)).map_err(|e| std::io::Error::other(e.to_string()))?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// What was written.
struct Written {
    records: String,
    ends_line: bool,
}

fn write(
    service: &Service,
    asked: Asked,
    format: Format,
    to: &mut dyn Write,
) -> Result<Written, Failure> {
    let bar = progress();
    if let Some(kept) = service.db().read(|conn| report_kept(conn, asked, format))? {
        to.write_all(&kept)?;
        return Ok(Written {
            records: "all".to_owned(),
            ends_line: kept.ends_with(b"\n"),
        });
    }
    let currency = service.base_currency();
    let made = service
        .db()
        .read(|conn| report_make(conn, asked, currency))?;
    let records = made.records();
    counting(&bar, records);
    match format {
        Format::Json => to.write_all(made.json()?.as_bytes())?,
        Format::Csv => csv(&*made, &bar, to)?,
        Format::Xlsx => {
            let mut told = |done: usize| bar.set_position(done as u64);
            to.write_all(&xlsx_whole(&*made, service.now(), &mut told)?)?;
        }
    }
    bar.finish_and_clear();
    Ok(Written {
        records: records.to_string(),
        ends_line: format == Format::Csv,
    })
}

fn csv(made: &dyn Made, bar: &ProgressBar, to: &mut dyn Write) -> Result<(), Failure> {
    to.write_all(csv_head(made).as_bytes())?;
    let mut at = 0;
    while at < made.records() {
        let (part, next) = csv_part(made, at, PART_BYTES);
        to.write_all(part.as_bytes())?;
        at = next;
        bar.set_position(at as u64);
    }
    Ok(())
}

/// A bar on a terminal. While the books are read, it only moves; once there are records, it counts them.
fn progress() -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
    }
    let bar = ProgressBar::new_spinner().with_style(style("{spinner} reading the books {elapsed}"));
    bar.enable_steady_tick(Duration::from_millis(100));
    bar
}

fn counting(bar: &ProgressBar, records: usize) {
    bar.set_length(records as u64);
    bar.set_style(style("writing {bar:40} {pos}/{len} records {elapsed}"));
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
