//! Which daily job ran on which local day, so that several processes on one database run it once.

use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;

use super::connection::AnyConnection;
use super::schema::job_runs;
use super::transaction::stored_instant;
use crate::base::Error;

/// Takes a job for a day; `false` when it was taken before, by this process or another.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn job_claim(
    conn: &mut AnyConnection,
    job: &str,
    local_day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<bool, Error> {
    let values = (
        job_runs::job.eq(job),
        job_runs::local_day.eq(local_day),
        job_runs::ran_at.eq(stored_instant(now)),
    );
    let insert = diesel::insert_into(job_runs::table).values(values);
    let inserted = match conn {
        AnyConnection::Sqlite(conn) => insert.on_conflict_do_nothing().execute(conn)?,
        AnyConnection::Postgres(conn) => insert.on_conflict_do_nothing().execute(conn)?,
    };
    Ok(inserted == 1)
}

/// Gives a day's job back, when it failed, so that it is tried again.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn job_give_back(
    conn: &mut AnyConnection,
    job: &str,
    local_day: NaiveDate,
) -> Result<(), Error> {
    diesel::delete(job_runs::table.find((job, local_day))).execute(conn)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::fixture::on_database;

    #[test]
    fn a_day_is_taken_once_and_may_be_given_back() {
        on_database(|db| {
            let monday = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
            let take = |day| {
                db.write(|conn| job_claim(conn, "sweep", day, DateTime::UNIX_EPOCH))
                    .unwrap()
            };
            assert!(take(monday));
            assert!(!take(monday));
            assert!(take(monday + chrono::TimeDelta::days(1)));
            db.write(|conn| job_give_back(conn, "sweep", monday))
                .unwrap();
            assert!(take(monday));
        });
    }
}
