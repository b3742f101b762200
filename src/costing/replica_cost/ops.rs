//! Making reports from the books.

use super::grouping::{GroupBy, parts_of};
use super::report::{Gathering, Names, ReplicaCost};
use super::variance::Posted;
use crate::base::{Currency, Error};
use crate::costing::cast_money::CastMoney;
use crate::costing::period::Period;
use crate::costing::store;
use crate::db::AnyConnection;

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
    let days = period.days();
    let casts = store::casts_demolded(conn, days, by == GroupBy::Cast)?;
    let mut gathering = Gathering::new(by);
    if let (Some(first), Some(last)) = (casts.first(), casts.last()) {
        let ids = (first.id, last.id);
        // Who pays makes no difference to the other groupings.
        let mut money = CastMoney::read(conn, ids, by == GroupBy::Grant)?;
        for cast in &casts {
            let (charges, costs) = money.of(cast.id);
            gathering.add(cast, &parts_of(&charges, &costs))?;
        }
    }
    let names = match by {
        GroupBy::Grant => store::names(conn, "grant")?,
        GroupBy::Recipe => store::names(conn, "recipe")?,
        GroupBy::Month | GroupBy::Cast => Names::new(),
    };
    let in_progress = store::work_in_progress(conn, days.1)?;
    let posted: Vec<Posted> = store::variances_between(conn, days)?
        .into_iter()
        .map(|row| Posted {
            cast: row
                .cast_id
                .zip(row.cast)
                .zip(row.recipe_id)
                .map(|((id, code), recipe)| (id, code, recipe)),
            grant_id: row.grant_id,
            on: row.on,
            amount: row.amount,
        })
        .collect();
    gathering.report(period, currency, &names, in_progress, &posted)
}
