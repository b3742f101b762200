//! Every report as a spreadsheet, opened and read again by another library (openpyxl, from PyPI) and held cell by cell
//! against the CSV of the same report.
//!
//! The run itself is left to `.ci/spreadsheets`, since it installs that library into an environment of its own.
//! Invariants: every report in every grouping; texts that a spreadsheet would take for formulas are among them.

#[path = "../../src/costing/tests/books.rs"]
mod books;
#[path = "../../src/db/testing.rs"]
mod database;

use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use heeltap::app::{self, Outside, Settings};
use heeltap::base::{ManualClock, OsEntropy};
use heeltap::cli::demo::replay;
use heeltap::costing::export::csv_file::csv_whole;
use heeltap::costing::export::sheet::file_stem;
use heeltap::costing::export::xlsx_file::xlsx_whole;
use heeltap::costing::ops::report_make;
use heeltap::costing::period::Period;
use heeltap::costing::reports::{Asked, ReportBy};
use heeltap::db::WORKING_DAY_MIN_DEFAULT;
use heeltap::http::{Limits, Service};

use books::{Cast, cast, entry};
use database::TestDatabase;

/// The library, at the version that these tests were written with.
const LIBRARY: &str = "openpyxl==3.1.5";

/// The demo lab on a day, and casts charged to grants whose codes and names look like formulas.
fn lab(database: &TestDatabase) -> Service {
    let now: DateTime<Utc> = "2026-03-02T09:00:00Z".parse().expect("an instant");
    let clock = Arc::new(ManualClock::new(now));
    let settings = Settings {
        database: database.url().clone(),
        db_connections: 2,
        db_wait_ms: 5_000,
        base_currency: None,
        time_zone: None,
        working_day_min: WORKING_DAY_MIN_DEFAULT,
        demo: true,
        limits: Limits::default(),
        slow_query: std::time::Duration::from_millis(500),
        csv: Default::default(),
        proxies: Default::default(),
        tls: None,
        forecast: Default::default(),
        rates: None,
        mail: None,
        webhooks: Default::default(),
    };
    let outside = Outside {
        clock: Arc::clone(&clock) as _,
        entropy: Arc::new(OsEntropy),
    };
    let service = app::open(&settings, outside).expect("a service");
    replay(&service, &clock, now.date_naive(), &mut |_, _| {}).expect("the demo must be filled");
    let wrote = service.db().write(|conn| {
        let recipe_id = entry(conn, "recipe", "R-formula", "@SUM(A1:A9)");
        for (code, name) in [
            ("-2", "=1+2"),
            ("G-plus", "+49 30"),
            ("G-tab", "\ttab"),
            ("G-euro", "5 € \"net\""),
        ] {
            let grant = entry(conn, "grant", code, name);
            let written = Cast {
                code: &format!("-{code}"),
                recipe_id,
                poured_on: "2026-02-20",
                demolded: Some(("2026-02-21", 3, 1)),
                charges: &[(grant, 100_000_000)],
                costs: &[
                    (Some(grant), "chip", -1),
                    (Some(grant), "tape", 12_345_678_901),
                ],
            };
            cast(conn, &written);
        }
        Ok(())
    });
    wrote.expect("the books must be written");
    service
}

/// Writes every report twice: as CSV and as a spreadsheet.
fn write_reports(service: &Service, folder: &Path) -> usize {
    let period = Period::parse(None, Some("2026-03-02")).expect("a period");
    let reports = ReportBy::all();
    for report in &reports {
        // The recipes written above hold no documents, which the residue report would read.
        if report.name() == "residue" {
            continue;
        }
        let asked = Asked {
            report: *report,
            period,
        };
        let made = service
            .db()
            .read(|conn| report_make(conn, asked, service.base_currency()))
            .expect("the report must be made");
        let stem = folder.join(file_stem(report.name(), report.group_by(), period));
        let sheet = xlsx_whole(&*made, service.now(), &mut |_| {}).expect("a spreadsheet");
        fs::write(stem.with_extension("csv"), csv_whole(&*made)).expect("a file");
        fs::write(stem.with_extension("xlsx"), sheet).expect("a file");
    }
    reports
        .iter()
        .filter(|report| report.name() != "residue")
        .count()
}

fn done(command: &mut Command) {
    let status = command
        .status()
        .unwrap_or_else(|e| panic!("{command:?}: {e}"));
    assert!(status.success(), "{command:?} ended with {status}");
}

#[test]
#[ignore = "installs a library from PyPI: run by .ci/spreadsheets"]
fn another_library_reads_what_was_written() {
    let database = TestDatabase::new();
    let folder = tempfile::TempDir::new().expect("a folder");
    let reports = write_reports(&lab(&database), folder.path());
    assert_eq!(reports, 15);
    let environment = folder.path().join("python");
    done(
        Command::new("python3")
            .args(["-m", "venv"])
            .arg(&environment),
    );
    let python = environment.join("bin/python");
    done(Command::new(&python).args(["-m", "pip", "install", "--quiet", LIBRARY]));
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/spreadsheets/reread.py");
    done(
        Command::new(&python)
            .arg(script)
            .arg(folder.path())
            .arg(reports.to_string()),
    );
}
