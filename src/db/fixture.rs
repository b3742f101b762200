//! For unit tests of stores and operations: a fresh database, and write transactions at a set instant.

use chrono::{DateTime, Utc};

use super::testing::TestDatabase;
use super::{Db, Tx, WORKING_DAY_MIN_DEFAULT};
use crate::base::{Currency, Error, OsEntropy, local_date};

/// Runs a test on a fresh, migrated database of the kind that this run is for (see `testing`).
pub(crate) fn on_database(test: impl Fn(Db)) {
    test(TestDatabase::new().open());
}

/// A write transaction as the actor `tester` at 2026-03-04T10:00:00Z, in UTC and EUR.
///
/// # Errors
/// What `work` returns.
pub(crate) fn write<T>(
    db: &Db,
    work: impl FnOnce(&mut Tx<'_>) -> Result<T, Error>,
) -> Result<T, Error> {
    write_at(
        db,
        "2026-03-04T10:00:00Z".parse().expect("an instant"),
        work,
    )
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
            entropy: &OsEntropy,
            base_currency: Currency::parse("EUR").expect("a currency"),
            working_day_min: WORKING_DAY_MIN_DEFAULT,
        })
    })
}
