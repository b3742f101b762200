//! How long the reports take over many casts, and how that stands to the same sums in the database's own shell.
//!
//! The books are written straight into the tables (`books`): 200,000 demoulded casts over ten years, or what
//! `HEELTAP_BENCH_CASTS` says. They are a SQLite file in a temporary folder, or a PostgreSQL database as the tests' ones
//! (`HEELTAP_TEST_DATABASE=postgres` and `HEELTAP_TEST_POSTGRES`). Deliberately absent: movements, so that the reports of
//! waste and of the stock's value are measured without their ledger part.
//!
//! Prints a table of medians; in a release build, a report by grant of more than three times the bare SQL is a failure.
#![expect(clippy::print_stdout, reason = "a measurement is there to be printed")]

mod books;
mod shell;
#[path = "../../src/db/testing.rs"]
mod testing;

use std::fs;
use std::hint::black_box;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use heeltap::base::{Currency, Error, Money};
use heeltap::costing::export::csv_file::csv_whole;
use heeltap::costing::ops::report_make;
use heeltap::costing::period::Period;
use heeltap::costing::replica_cost::grouping::GroupBy;
use heeltap::costing::reports::{Asked, Report, ReportBy};
use heeltap::costing::stock_value::grouping::StockBy;
use heeltap::costing::waste::grouping::WasteBy;
use heeltap::db::Db;

use shell::Shell;
use testing::TestDatabase;

const CASTS: u64 = 200_000;
const RUNS: usize = 5;
/// What the report by grant over all casts must stay below, as a multiple of the bare SQL.
const RATIO_MAX: f64 = 3.0;

fn main() -> ExitCode {
    let casts = match std::env::var("HEELTAP_BENCH_CASTS") {
        Ok(text) => text.parse().expect("HEELTAP_BENCH_CASTS: a whole number"),
        Err(_) => CASTS,
    };
    let database = TestDatabase::new();
    let db = database.open();
    let ratio = measured(&db, casts).expect("the books must be readable");
    if ratio > RATIO_MAX && !cfg!(debug_assertions) {
        println!("the report by grant takes more than {RATIO_MAX} times the bare SQL");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

/// Fills, measures and prints; the ratio of the report by grant over all casts.
fn measured(db: &Db, casts: u64) -> Result<f64, Error> {
    let start = Instant::now();
    let written = books::fill(db, casts)?;
    if !db.url().is_sqlite() {
        // As the server does by itself after a while.
        db.bare(|conn| Ok(conn.batch_execute("VACUUM ANALYZE")?))?;
    }
    let filled = start.elapsed().as_secs();
    let shell = Shell::of(db.url());
    println!(
        "{casts} casts, {} rows of costs, written in {filled} s; {}; {} cores; medians of {RUNS}; SQL by: {}",
        written.cost_rows,
        if db.url().is_sqlite() {
            "SQLite"
        } else {
            "PostgreSQL"
        },
        std::thread::available_parallelism().map_or(0, usize::from),
        shell.name(),
    );
    right(db, written.cost_micro)?;
    println!(
        "\n| report | report, ms | SQL, ms | ratio | JSON, ms | CSV, ms | resident before, peak, MB |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let all = Period::default();
    let first_grant_ratio = cost_line(db, &shell, GroupBy::Grant, all)?;
    for by in [GroupBy::Month, GroupBy::Recipe, GroupBy::Cast] {
        cost_line(db, &shell, by, all)?;
    }
    let month = month();
    cost_line(db, &shell, GroupBy::Grant, month)?;
    cost_line(db, &shell, GroupBy::Cast, month)?;
    for by in [WasteBy::Grant, WasteBy::Material] {
        line(db, ReportBy::Waste(by), all, None)?;
    }
    line(db, ReportBy::StockValue(StockBy::Material), all, None)?;
    Ok(first_grant_ratio)
}

/// A month in the middle of the books.
fn month() -> Period {
    Period::parse(Some("2020-06-01"), Some("2020-06-30")).expect("a month")
}

/// That what is measured is right: the report's total is what was written.
fn right(db: &Db, cost_micro: i64) -> Result<(), Error> {
    let report = make(db, ReportBy::ReplicaCost(GroupBy::Grant), Period::default())?;
    let report: serde_json::Value =
        serde_json::from_str(&report.json()?).map_err(Error::internal)?;
    let expected = Money::from_micro(cost_micro).to_string();
    assert_eq!(report["total"]["exact_total"], expected);
    Ok(())
}

fn make(db: &Db, report: ReportBy, period: Period) -> Result<Box<dyn Report>, Error> {
    let currency = Currency::parse("EUR").expect("a currency");
    db.read(|conn| report_make(conn, Asked { report, period }, currency))
}

/// Measures what replicas cost; the ratio to the bare SQL.
fn cost_line(db: &Db, shell: &Shell, by: GroupBy, period: Period) -> Result<f64, Error> {
    let bare = shell.time(db, &shell::sums(db.url(), by, period), RUNS)?;
    let made = line(db, ReportBy::ReplicaCost(by), period, Some(bare))?;
    Ok(made.as_secs_f64() / bare.as_secs_f64())
}

/// Measures a report and prints its line.
fn line(
    db: &Db,
    report: ReportBy,
    period: Period,
    bare: Option<Duration>,
) -> Result<Duration, Error> {
    let before = resident("VmRSS:");
    make(db, report, period)?;
    let peak = resident("VmHWM:");
    let mut times = [Duration::ZERO; RUNS];
    let mut json = times;
    let mut csv = times;
    for run in 0..RUNS {
        let start = Instant::now();
        let made = make(db, report, period)?;
        times[run] = start.elapsed();
        let start = Instant::now();
        black_box(made.json()?);
        json[run] = start.elapsed();
        let start = Instant::now();
        black_box(csv_whole(&*made));
        csv[run] = start.elapsed();
    }
    let made = median(&mut times);
    let (sql, ratio) = bare.map_or_else(Default::default, |bare| {
        let ratio = made.as_secs_f64() / bare.as_secs_f64();
        (ms(bare), format!("{ratio:.2}"))
    });
    println!(
        "| {} by {}, {period} | {} | {sql} | {ratio} | {} | {} | {before}, {peak} |",
        report.name(),
        report.group_by(),
        ms(made),
        ms(median(&mut json)),
        ms(median(&mut csv)),
    );
    Ok(made)
}

/// The median.
fn median(times: &mut [Duration]) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn ms(time: Duration) -> String {
    format!("{:.1}", time.as_secs_f64() * 1_000.0)
}

/// What this process has in memory, in MB: now (`VmRSS`), or at most since it was asked for what it has now (`VmHWM`).
/// A question mark where the kernel does not tell.
fn resident(what: &str) -> String {
    if what == "VmRSS:" {
        // Lets the peak begin anew.
        let _ = fs::write("/proc/self/clear_refs", "5");
    }
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix(what));
    let kilobytes = line.and_then(|line| line.split_whitespace().next()?.parse::<u64>().ok());
    kilobytes.map_or_else(
        || "?".to_owned(),
        |kilobytes| (kilobytes / 1_024).to_string(),
    )
}
