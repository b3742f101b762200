//! Databases for tests: a fresh one of each kind, and a write transaction at a set time.
//!
//! Invariant: a test that is given to [`on_both`] runs on SQLite always, and on PostgreSQL when
//! `HEELTAP_TEST_POSTGRES` holds the address of a server on which databases may be made; when it does not, that is
//! said aloud, so that nobody takes half for the whole. Deliberately absent: any feature's data.

use chrono::{DateTime, Utc};

use super::test_database::{SERVER_VARIABLE, TestDatabase, say_what_is_left_out};
use super::{Db, Tx};
use crate::base::{Currency, Error, local_date};

/// Runs a test on a fresh, migrated database of each kind.
///
/// # Panics
/// When a database cannot be made, or the test panics.
pub(crate) fn on_both(test: impl Fn(Db)) {
    on_sqlite(&test);
    match std::env::var(SERVER_VARIABLE) {
        Ok(server) => {
            let database = TestDatabase::postgres(&server);
            test(database.open());
        }
        Err(_) => say_what_is_left_out(),
    }
}

/// Runs a test on a fresh, migrated SQLite file only.
///
/// # Panics
/// As [`on_both`].
pub(crate) fn on_sqlite(test: impl Fn(Db)) {
    let database = TestDatabase::sqlite();
    test(database.open());
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
