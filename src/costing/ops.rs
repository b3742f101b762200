//! Making reports from the books.

use std::iter::Peekable;
use std::vec::IntoIter;

use chrono::NaiveDate;

use super::grouping::{GroupBy, parts_of};
use super::period::Period;
use super::report::{Gathering, Names, ReplicaCost};
use super::store;
use crate::base::{Currency, Error, Micro};
use crate::casting::cost::Components;
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
    gathering.report(period, currency, &names, in_progress)
}

/// The first and last day of a period, an open end as far away as a day can be.
pub(super) fn days_of(period: Period) -> (NaiveDate, NaiveDate) {
    (
        period.from().unwrap_or(FIRST_DAY),
        period.to().unwrap_or(LAST_DAY),
    )
}

/// A grant with its share of a cast.
type Share = (i64, Micro);
/// What a cast cost a grant, or everybody together.
type Cost = (Option<i64>, Components);

/// Who pays for casts and what they cost, read for a range of casts at once and handed out in the order of their ids.
pub(super) struct CastMoney {
    charges: Peekable<IntoIter<(i64, Share)>>,
    costs: Peekable<IntoIter<(i64, Cost)>>,
}

impl CastMoney {
    /// Reads it for the casts from the first id to the last; grant by grant, or all grants together and nobody's share.
    pub(super) fn read(
        conn: &mut AnyConnection,
        ids: (i64, i64),
        by_grant: bool,
    ) -> Result<Self, Error> {
        let (charges, costs) = if by_grant {
            let charges = store::charges_between(conn, ids)?;
            (charges, store::costs_by_cast_and_grant(conn, ids)?)
        } else {
            (Vec::new(), store::costs_by_cast(conn, ids)?)
        };
        let charges = charges.into_iter();
        let charges: Vec<(i64, Share)> = charges
            .map(|(cast, grant, share)| (cast, (grant, share)))
            .collect();
        let costs = costs.into_iter();
        let costs: Vec<(i64, Cost)> = costs
            .map(|(cast, grant, amounts)| (cast, (grant, amounts)))
            .collect();
        Ok(Self {
            charges: charges.into_iter().peekable(),
            costs: costs.into_iter().peekable(),
        })
    }

    /// The shares and the costs of the next cast; those of earlier casts are passed over.
    pub(super) fn of(&mut self, cast_id: i64) -> (Vec<Share>, Vec<Cost>) {
        let charges = of_cast(&mut self.charges, cast_id);
        (charges, of_cast(&mut self.costs, cast_id))
    }
}

/// The next rows that are a cast's, from rows in the order of casts; rows of earlier casts are passed over.
fn of_cast<T>(rows: &mut Peekable<impl Iterator<Item = (i64, T)>>, cast_id: i64) -> Vec<T> {
    let mut found = Vec::new();
    while let Some((of, row)) = rows.next_if(|(of, _)| *of <= cast_id) {
        if of == cast_id {
            found.push(row);
        }
    }
    found
}
