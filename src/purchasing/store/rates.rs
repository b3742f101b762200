//! Exchange rates, one for a currency and a day.

use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::upsert::excluded;

use crate::base::{Currency, Error};
use crate::db::AnyConnection;
use crate::db::schema::exchange_rates;

/// Rows of one insert.
const ROWS_MAX: usize = 1_000;

/// A rate as it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable, Insertable)]
#[diesel(table_name = exchange_rates)]
pub(in crate::purchasing) struct RateRow {
    pub(in crate::purchasing) currency: Currency,
    pub(in crate::purchasing) rate_on: NaiveDate,
    pub(in crate::purchasing) rate: String,
    pub(in crate::purchasing) source: String,
}

/// The rates of some currencies from a day to another, both included.
pub(in crate::purchasing) fn rates_between(
    conn: &mut AnyConnection,
    currencies: &[Currency],
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<RateRow>, Error> {
    Ok(exchange_rates::table
        .filter(exchange_rates::currency.eq_any(currencies))
        .filter(exchange_rates::rate_on.between(first, last))
        .select(RateRow::as_select())
        .load(conn)?)
}

pub(in crate::purchasing) fn rate_fetch(
    conn: &mut AnyConnection,
    currency: Currency,
    day: NaiveDate,
) -> Result<Option<RateRow>, Error> {
    Ok(exchange_rates::table
        .find((currency, day))
        .select(RateRow::as_select())
        .first(conn)
        .optional()?)
}

/// Keeps a rate, in place of the one of that day if there is one.
pub(in crate::purchasing) fn rate_put(
    conn: &mut AnyConnection,
    row: &RateRow,
) -> Result<(), Error> {
    macro_rules! put {
        ($conn:expr) => {
            diesel::insert_into(exchange_rates::table)
                .values(row)
                .on_conflict((exchange_rates::currency, exchange_rates::rate_on))
                .do_update()
                .set((
                    exchange_rates::rate.eq(&row.rate),
                    exchange_rates::source.eq(&row.source),
                ))
                .execute($conn)?
        };
    }
    match conn {
        AnyConnection::Sqlite(conn) => put!(conn),
        AnyConnection::Postgres(conn) => put!(conn),
    };
    Ok(())
}

/// Waits until no other transaction writes rates, and keeps others from it until this one ends: what was read of them after
/// this holds. (SQLite has one writer at a time anyway.)
pub(in crate::purchasing) fn rates_lock(conn: &mut AnyConnection) -> Result<(), Error> {
    if let AnyConnection::Postgres(conn) = conn {
        diesel::sql_query("LOCK TABLE exchange_rates IN SHARE ROW EXCLUSIVE MODE").execute(conn)?;
    }
    Ok(())
}

/// Keeps rates, each in place of the one of its day if there is one. No currency and day stands twice among them.
pub(in crate::purchasing) fn rates_put(
    conn: &mut AnyConnection,
    rows: &[RateRow],
) -> Result<(), Error> {
    for some in rows.chunks(ROWS_MAX) {
        match conn {
            AnyConnection::Postgres(conn) => {
                diesel::insert_into(exchange_rates::table)
                    .values(some)
                    .on_conflict((exchange_rates::currency, exchange_rates::rate_on))
                    .do_update()
                    .set((
                        exchange_rates::rate.eq(excluded(exchange_rates::rate)),
                        exchange_rates::source.eq(excluded(exchange_rates::source)),
                    ))
                    .execute(conn)?;
            }
            // Within the process: a list would be no faster, and diesel has none with `ON CONFLICT` for SQLite.
            AnyConnection::Sqlite(_) => {
                for row in some {
                    rate_put(conn, row)?;
                }
            }
        }
    }
    Ok(())
}

/// A page of rates, oldest first, of one currency or of all: those after a day and a currency.
pub(in crate::purchasing) fn rates_after(
    conn: &mut AnyConnection,
    currency: Option<Currency>,
    (day, code): (NaiveDate, &str),
    limit: i64,
) -> Result<Vec<RateRow>, Error> {
    let later = exchange_rates::rate_on.gt(day).or(exchange_rates::rate_on
        .eq(day)
        .and(exchange_rates::currency.gt(code)));
    let mut query = exchange_rates::table.filter(later).into_boxed();
    if let Some(currency) = currency {
        query = query.filter(exchange_rates::currency.eq(currency));
    }
    Ok(query
        .order((exchange_rates::rate_on, exchange_rates::currency))
        .limit(limit)
        .select(RateRow::as_select())
        .load(conn)?)
}
