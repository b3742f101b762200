//! Making reports from the books.

use std::iter::Peekable;

use chrono::NaiveDate;

use super::grouping::{GroupBy, parts_of};
use super::period::Period;
use super::report::{Gathering, Names, ReplicaCost};
use super::store;
use crate::base::{Currency, Error};
use crate::db::AnyConnection;

/// The first and last day that both databases and every calendar here can write: an open end.
const FIRST_DAY: NaiveDate = NaiveDate::from_ymd_opt(1, 1, 1).expect("a day");
const LAST_DAY: NaiveDate = NaiveDate::from_ymd_opt(9999, 12, 31).expect("a day");

/// What replicas cost in a period, in the base currency.
///
/// Casts count in the period of their demould, whole. What was poured by the last day and not demoulded by then is the
/// work in progress, so that a report of past days says the same when it is made again.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money; [`Error::Unavailable`] when the database does not answer.
pub fn replica_cost(
    conn: &mut AnyConnection,
    period: Period,
    by: GroupBy,
    currency: Currency,
) -> Result<ReplicaCost, Error> {
    let days = days_of(period);
    let casts = store::casts_demolded(conn, days)?;
    let mut gathering = Gathering::new(by);
    if let (Some(first), Some(last)) = (casts.first(), casts.last()) {
        let ids = (first.id, last.id);
        let (charges, costs) = match by {
            GroupBy::Grant => (
                store::charges_between(conn, ids)?,
                store::costs_by_cast_and_grant(conn, ids)?,
            ),
            // Who pays makes no difference to these.
            GroupBy::Month | GroupBy::Recipe | GroupBy::Cast => {
                (Vec::new(), store::costs_by_cast(conn, ids)?)
            }
        };
        let charges = charges.into_iter();
        let mut charges = charges
            .map(|(cast, grant, share)| (cast, (grant, share)))
            .peekable();
        let costs = costs.into_iter();
        let mut costs = costs
            .map(|(cast, grant, amounts)| (cast, (grant, amounts)))
            .peekable();
        for cast in &casts {
            let charges = of_cast(&mut charges, cast.id);
            let costs = of_cast(&mut costs, cast.id);
            gathering.add(cast, &parts_of(&charges, &costs))?;
        }
    }
    let names = match by {
        GroupBy::Grant => store::names(conn, "grant")?,
        GroupBy::Recipe => store::names(conn, "recipe")?,
        GroupBy::Month | GroupBy::Cast => Names::new(),
    };
    let in_progress = store::work_in_progress(conn, days.1)?;
    gathering.report(period, currency, &names, in_progress)
}

/// The first and last day of a period, an open end as far away as a day can be.
pub(super) fn days_of(period: Period) -> (NaiveDate, NaiveDate) {
    (
        period.from().unwrap_or(FIRST_DAY),
        period.to().unwrap_or(LAST_DAY),
    )
}

/// The next rows that are a cast's, from rows in the order of casts; rows of earlier casts are passed over.
pub(super) fn of_cast<T>(
    rows: &mut Peekable<impl Iterator<Item = (i64, T)>>,
    cast_id: i64,
) -> Vec<T> {
    let mut found = Vec::new();
    while let Some((of, row)) = rows.next_if(|(of, _)| *of <= cast_id) {
        if of == cast_id {
            found.push(row);
        }
    }
    found
}
