//! Databases for tests: a fresh one of each kind, and a write transaction at a set time.
//!
//! Invariant: a test that is given to [`on_both`] runs on SQLite always, and on PostgreSQL when
//! `HEELTAP_TEST_POSTGRES` holds the address of a server on which databases may be made; when it does not, that is
//! said aloud, so that nobody takes half for the whole. Deliberately absent: any feature's data.

use std::io::Write;
use std::sync::Once;
use std::sync::atomic::{AtomicU32, Ordering};

use chrono::{DateTime, Utc};
use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection};

use super::{DatabaseUrl, Db, Tx};
use crate::base::{Currency, Error, local_date};

/// Where a PostgreSQL server for tests is, for example `postgres://postgres@127.0.0.1:5432/postgres`.
const VARIABLE: &str = "HEELTAP_TEST_POSTGRES";

/// Runs a test on a fresh, migrated database of each kind.
///
/// # Panics
/// When a database cannot be made, or the test panics.
pub(crate) fn on_both(test: impl Fn(Db)) {
    on_sqlite(&test);
    match std::env::var(VARIABLE) {
        Ok(server) => on_postgres(&server, &test),
        Err(_) => say_left_out(),
    }
}

/// Runs a test on a fresh, migrated SQLite file only.
///
/// # Panics
/// As [`on_both`].
pub(crate) fn on_sqlite(test: impl Fn(Db)) {
    let folder = tempfile::tempdir().expect("a folder for the test's database");
    let url = format!("sqlite://{}", folder.path().join("test.db").display());
    test(open(&url));
}

/// A write transaction as the actor `tester` at 2026-03-04T10:00:00Z, in UTC and EUR.
///
/// # Errors
/// What `work` returns.
pub(crate) fn write<T>(
    db: &Db,
    work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
) -> Result<T, Error> {
    let now = "2026-03-04T10:00:00Z".parse().expect("an instant");
    write_at(db, now, work)
}

/// A write transaction as the actor `tester` at an instant, in UTC and EUR.
///
/// # Errors
/// What `work` returns.
pub(crate) fn write_at<T>(
    db: &Db,
    now: DateTime<Utc>,
    work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
) -> Result<T, Error> {
    db.write(|conn| {
        work(&mut Tx {
            conn,
            now,
            today: local_date(now, chrono_tz::UTC),
            actor: "tester",
            base_currency: Currency::parse("EUR").expect("a currency"),
        })
    })
}

fn open(url: &str) -> Db {
    let url = DatabaseUrl::parse(url).expect("an address of a database");
    Db::open(&url, 4, 10_000).expect("a migrated database")
}

/// A database of one test; dropped with it, also when the test fails.
struct PostgresDatabase {
    server: String,
    name: String,
}

impl PostgresDatabase {
    fn make(server: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!("heeltap_unit_{}_{count}", std::process::id());
        let database = Self {
            server: server.to_owned(),
            name,
        };
        // A process of the same number may have left one behind when it was killed.
        database.on_server("DROP DATABASE IF EXISTS");
        database.on_server("CREATE DATABASE");
        database
    }

    fn on_server(&self, command: &str) {
        let mut conn = PgConnection::establish(&self.server).expect("the server for tests");
        let name = &self.name;
        conn.batch_execute("SET client_min_messages = warning")
            .and_then(|()| conn.batch_execute(&format!("{command} {name}")))
            .expect("a command to the server for tests");
    }

    fn url(&self) -> String {
        let mut url = url::Url::parse(&self.server).expect("the address of the server for tests");
        url.set_path(&self.name);
        url.into()
    }
}

impl Drop for PostgresDatabase {
    fn drop(&mut self) {
        let Ok(mut conn) = PgConnection::establish(&self.server) else {
            return;
        };
        // Leftovers cost space, not correctness; a failure here must not hide the test's own.
        let _ = conn.batch_execute(&format!("DROP DATABASE {} WITH (FORCE)", self.name));
    }
}

fn on_postgres(server: &str, test: &impl Fn(Db)) {
    let database = PostgresDatabase::make(server);
    test(open(&database.url()));
}

fn say_left_out() {
    static SAID: Once = Once::new();
    SAID.call_once(|| {
        // Written past the test harness, which would keep it to itself when the tests pass.
        let _ = writeln!(
            std::io::stderr(),
            "PostgreSQL is left out: set {VARIABLE} to the address of a server to test it too"
        );
    });
}
