//! How long `GET /v1/reorder` takes for 1,000 materials with five years of daily demand: with nothing kept, so that each
//! material is judged, and again from what is kept.
//!
//! Materials and their lots come by the API; the demand is written straight into `daily_demand`, a row for each day: three
//! in four materials are used every day, the fourth now and then. The database is a SQLite file in a temporary folder, or a
//! PostgreSQL database as the tests' ones (`HEELTAP_TEST_DATABASE=postgres` and `HEELTAP_TEST_POSTGRES`). Deliberately
//! absent: bookings and casts.
//!
//! Prints a table; in a release build, a reading of more than a second is a failure.
#![expect(clippy::print_stdout, reason = "a measurement is there to be printed")]

#[allow(dead_code, unused_imports)]
#[path = "../tests/api/support/mod.rs"]
mod support;

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate};
use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use heeltap::base::Error;
use heeltap::db::Db;
use heeltap::reorder;
use serde_json::json;

use support::TestApp;

const MATERIALS: u64 = 1_000;
const DAYS: u64 = 5 * 365 + 1;
const ROWS_PER_STATEMENT: usize = 5_000;
const RUNS: usize = 5;
const PAGE: usize = 100;
/// What a reading must stay below.
const READ_MAX: Duration = Duration::from_secs(1);

fn main() -> ExitCode {
    let app = TestApp::start();
    let db = app.service.db();
    let start = Instant::now();
    catalogue(&app);
    let rows = demand(db).expect("the demand must be written");
    if !db.url().is_sqlite() {
        // As the server does by itself after a while.
        let analysed = db.bare(|conn| Ok(conn.batch_execute("VACUUM ANALYZE")?));
        analysed.expect("the server must answer");
    }
    println!(
        "{MATERIALS} materials, {rows} days of demand, written in {} s; {}; {} cores; medians of {RUNS}",
        start.elapsed().as_secs(),
        if db.url().is_sqlite() {
            "SQLite"
        } else {
            "PostgreSQL"
        },
        std::thread::available_parallelism().map_or(0, usize::from),
    );
    let sums = median(|| summed(db));
    let refreshed = median(|| {
        forget(db);
        timed(|| reorder::refresh(&app.service).expect("advice"))
    });
    let cold = median(|| {
        forget(db);
        timed(|| assert_eq!(read(&app), MATERIALS as usize))
    });
    let warm = median(|| timed(|| assert_eq!(read(&app), MATERIALS as usize)));
    println!("\n| what | ms | of the sums by bare SQL |\n| --- | --- | --- |");
    for (what, took) in [
        ("each material's demand summed by bare SQL", sums),
        ("all advice judged and kept", refreshed),
        ("/v1/reorder, all pages, nothing kept", cold),
        ("/v1/reorder, all pages, kept", warm),
    ] {
        let ratio = took.as_secs_f64() / sums.as_secs_f64();
        println!("| {what} | {} | {ratio:.2} |", took.as_millis());
    }
    if cold.max(warm) > READ_MAX && !cfg!(debug_assertions) {
        println!("a reading takes more than {READ_MAX:?}");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

fn timed(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn median(mut run: impl FnMut() -> Duration) -> Duration {
    let mut times: Vec<Duration> = (0..RUNS).map(|_| run()).collect();
    times.sort_unstable();
    times[RUNS / 2]
}

fn code(material: u64) -> String {
    format!("M-{material:04}")
}

/// The materials, and a lot of two packs of each.
fn catalogue(app: &TestApp) {
    let mut file = String::from(
        "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on\n",
    );
    for material in 0..MATERIALS {
        let code = code(material);
        let body = json!({"code": code, "name": code, "kind": "sundry", "unit": "g", "lead_time_days": 14});
        app.post("/v1/materials", body).expect(201);
        let _ = writeln!(
            file,
            "PO-{material},1,First supplier,2026-01-05,2026-01-19,{code},L-1,2,500,g,40.00,EUR,0,"
        );
    }
    app.post_text("/v1/purchase-imports", "text/csv", &file)
        .expect(201);
}

/// A number from 0 to `below` - 1 that looks like chance and is always the same.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: u64) -> u64 {
        // Constants of Knuth's MMIX generator.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % below
    }
}

/// Writes five years of demand up to yesterday; the number of rows.
fn demand(db: &Db) -> Result<usize, Error> {
    let ids: Vec<i64> = db.read(|conn| {
        let rows: Vec<Id> = diesel::sql_query("SELECT id FROM materials ORDER BY id").load(conn)?;
        Ok(rows.into_iter().map(|row| row.id).collect())
    })?;
    let today = NaiveDate::from_ymd_opt(2026, 3, 2).expect("a day");
    let mut dice = Dice(7);
    let mut values: Vec<String> = Vec::new();
    let mut written = 0;
    db.write(|conn| {
        for (id, material) in ids.iter().zip(0_u64..) {
            for ago in (1..=DAYS).rev() {
                let seldom = material % 4 == 3;
                if seldom && dice.roll(12) > 0 {
                    continue;
                }
                let day = today - Days::new(ago);
                let quantity_micro = 1_000_000 + dice.roll(if seldom { 60 } else { 9 }) * 1_000_000;
                values.push(format!("({id},'{day}',{quantity_micro})"));
                written += 1;
                if values.len() == ROWS_PER_STATEMENT {
                    conn.batch_execute(&insert(&values))?;
                    values.clear();
                }
            }
        }
        Ok(conn.batch_execute(&insert(&values))?)
    })?;
    Ok(written)
}

fn insert(values: &[String]) -> String {
    let values = values.join(",");
    format!("INSERT INTO daily_demand (material_id, day, quantity_micro) VALUES {values}")
}

#[derive(QueryableByName)]
struct Id {
    #[diesel(sql_type = BigInt)]
    id: i64,
}

/// The bare limit: the sum of each material's days.
fn summed(db: &Db) -> Duration {
    let sql = "SELECT CAST(SUM(quantity_micro) AS BIGINT) AS id FROM daily_demand WHERE day >= '2021-01-01' GROUP BY material_id";
    timed(|| {
        let rows = db.read(|conn| Ok(diesel::sql_query(sql).load::<Id>(conn)?));
        let rows = rows.expect("sums");
        assert_eq!(rows.len(), MATERIALS as usize);
        assert!(rows.iter().all(|row| row.id > 0));
    })
}

/// Forgets all advice that is kept, so that each material waits.
fn forget(db: &Db) {
    let done = db.write(|conn| Ok(conn.batch_execute("DELETE FROM reorder_advice")?));
    done.expect("the advice must be forgotten");
}

/// Reads every page over HTTP; how much advice there was.
fn read(app: &TestApp) -> usize {
    let (mut found, mut path) = (0, format!("/v1/reorder?limit={PAGE}"));
    loop {
        let page = app.get(&path).expect(200).json();
        found += page["items"].as_array().map_or(0, Vec::len);
        match page["next"].as_str() {
            Some(next) => path = format!("/v1/reorder?limit={PAGE}&cursor={next}"),
            None => return found,
        }
    }
}
