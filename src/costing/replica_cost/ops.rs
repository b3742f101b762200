//! Making reports from the books.

use std::collections::HashMap;

use super::grouping::{GroupBy, Part, WHOLE_SHARE, parts_of};
use super::report::{Gathering, Names, ReplicaCost};
use super::variance::Posted;
use crate::base::{Currency, Error};
use crate::casting::cost::Components;
use crate::costing::by_source::{Used, by_source};
use crate::costing::cast_money::CastMoney;
use crate::costing::period::Period;
use crate::costing::periods::ops::report_kept;
use crate::costing::reports::{Asked, Format, ReportBy};
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
        let used = match by {
            GroupBy::Material => store::used_by_cast(conn, ids)?,
            _ => HashMap::new(),
        };
        for cast in &casts {
            let (charges, costs) = money.of(cast.id);
            let parts = match by {
                GroupBy::Material => parts_by_material(&costs, used.get(&cast.id))?,
                _ => parts_of(&charges, &costs),
            };
            gathering.add(cast, &parts)?;
        }
    }
    let names = match by {
        GroupBy::Grant => store::names(conn, "grant")?,
        GroupBy::Recipe => store::names(conn, "recipe")?,
        GroupBy::Material => store::names(conn, "material")?,
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
            material_id: row.material_id,
            grant_id: row.grant_id,
            on: row.on,
            amount: row.amount,
        })
        .collect();
    gathering.report(period, currency, &names, in_progress, &posted)
}

/// A report as it is answered, and whether it is the one that was kept when its days were closed.
///
/// # Errors
/// As [`replica_cost`]; [`Error::Internal`] when what was kept does not read back.
pub fn replica_cost_answered(
    conn: &mut AnyConnection,
    period: Period,
    by: GroupBy,
    currency: Currency,
) -> Result<(ReplicaCost, bool), Error> {
    let report = ReportBy::ReplicaCost(by);
    match report_kept(conn, Asked { report, period }, Format::Json)? {
        Some(kept) => Ok((
            serde_json::from_slice(&kept).map_err(Error::internal)?,
            true,
        )),
        None => Ok((replica_cost(conn, period, by, currency)?, false)),
    }
}

/// A cast's parts, one for each material that it used, each with all of the cast's chips.
fn parts_by_material(
    costs: &[(Option<i64>, Components)],
    used: Option<&Vec<Used>>,
) -> Result<Vec<Part>, Error> {
    let mut parts = Vec::new();
    for (_, components) in costs {
        for (material_id, amounts) in by_source(components, used.map_or(&[], Vec::as_slice))? {
            parts.push(Part {
                grant_id: None,
                material_id,
                share: WHOLE_SHARE,
                amounts,
            });
        }
    }
    Ok(parts)
}
