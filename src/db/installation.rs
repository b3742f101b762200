//! The installation's one row: what is fixed at the first start and never changed.
//!
//! Deliberately absent: comparing it with the settings given (the composition root does that).

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::prelude::*;

use super::connection::AnyConnection;
use super::schema::installation;
use super::transaction::{instant, stored_instant};
use crate::base::{Currency, Error};

/// What was fixed at the first start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Installation {
    /// The currency in which the books are kept.
    pub base_currency: Currency,
    /// The IANA name of the time zone of every local day.
    pub time_zone: String,
    /// Whether the database holds the demo lab.
    pub demo: bool,
    /// The instant of the first start.
    pub created_at: DateTime<Utc>,
}

type Row = (Currency, String, bool, NaiveDateTime);

const ROW_ID: i32 = 1;

fn from_row((base_currency, time_zone, demo, created_at): Row) -> Installation {
    Installation {
        base_currency,
        time_zone,
        demo,
        created_at: instant(created_at),
    }
}

macro_rules! columns {
    () => {
        (
            installation::base_currency,
            installation::time_zone,
            installation::demo,
            installation::created_at,
        )
    };
}

/// The row, if the database was ever started.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer; [`Error::Internal`] when the row is not one of ours.
pub fn installation_fetch(conn: &mut AnyConnection) -> Result<Option<Installation>, Error> {
    let row: Option<Row> = installation::table
        .find(ROW_ID)
        .select(columns!())
        .first(conn)
        .optional()?;
    Ok(row.map(from_row))
}

/// Writes the row unless there is one, and returns the one that stands. Until the transaction ends no other process
/// gets past this point, so that what follows in it happens once for all of them.
///
/// # Errors
/// As [`installation_fetch`].
pub fn installation_settle(
    conn: &mut AnyConnection,
    first: &Installation,
) -> Result<Installation, Error> {
    let values = (
        installation::id.eq(ROW_ID),
        installation::base_currency.eq(first.base_currency),
        installation::time_zone.eq(&first.time_zone),
        installation::demo.eq(first.demo),
        installation::created_at.eq(stored_instant(first.created_at)),
    );
    let insert = diesel::insert_into(installation::table).values(values);
    let row: Row = match conn {
        AnyConnection::Sqlite(conn) => {
            insert.on_conflict_do_nothing().execute(conn)?;
            installation::table
                .find(ROW_ID)
                .select(columns!())
                .first(conn)?
        }
        AnyConnection::Postgres(conn) => {
            insert.on_conflict_do_nothing().execute(conn)?;
            installation::table
                .find(ROW_ID)
                .select(columns!())
                .for_update()
                .first(conn)?
        }
    };
    Ok(from_row(row))
}
