//! The costing room's statements: set queries, each over all casts of a period at once.
//!
//! Invariant: sums are made by the database in whole millionths, one row per cast or per cast and grant. Casts are
//! bounded by their ids rather than by a join, so that the sums run along the index; what lies between and does not
//! belong is passed over by the caller.

use chrono::NaiveDate;
use diesel::connection::DefaultLoadingMode;
use diesel::dsl::count;
use diesel::prelude::*;
use diesel::sql_types::BigInt;

use crate::base::{Code, Error, Micro, Money};
use crate::casting::cost::{Component, Components};
use crate::db::schema::{cast_charges, cast_costs, casts, catalogue_entries};
use crate::db::{AnyConnection, as_written, sum_bigint};

use super::replica_cost::grouping::CastFacts;
use super::replica_cost::report::Names;

mod corrections;
mod periods;
mod residue;
mod stock_value;
mod waste;

pub(super) use corrections::{
    LotRow, NewCorrection, charges_of, coat_fates, corrected_so_far, correction_insert,
    corrections_after, corrections_wasted_between, line_id, lot_by_id, lots_of_line, shares_of,
    variances_between,
};
pub(super) use periods::{
    NewPeriod, first_entry, guard_advance, guard_take, period_heads, period_insert,
    period_report_insert, periods_after, report_kept, reports_kept,
};
pub(super) use residue::{casts_poured, observations, part_prices};
pub(super) use stock_value::{
    lots_known, pool_value_between, pool_value_until, value_between, value_until,
};
pub(super) use waste::{
    discarded_by_cast, funders_by_cast, losses_between, offcut_shares, pool_waste_between,
    used_by_cast,
};

/// The sums of the ten components in their order, and of all rows whatever their component.
type Sums = (i64, i64, i64, i64, i64, i64, i64, i64, i64, i64, i64);

/// The sum of one component. A filter, since a sum that is not called costs less than one over nulls.
macro_rules! sum_of {
    ($word:literal) => {
        as_written::<BigInt>(concat!(
            "CAST(COALESCE(SUM(amount_micro) FILTER (WHERE component = '",
            $word,
            "'), 0) AS BIGINT)"
        ))
    };
}

/// The columns of [`Sums`].
macro_rules! sums {
    () => {
        (
            sum_of!("chip"),
            sum_of!("trim"),
            sum_of!("overfill"),
            sum_of!("residue"),
            sum_of!("release"),
            sum_of!("tape"),
            sum_of!("container"),
            sum_of!("cup"),
            sum_of!("mold"),
            sum_of!("sundries"),
            sum_bigint("amount_micro"),
        )
    };
}

fn components(sums: Sums) -> Result<Components, Error> {
    let (chip, trim, overfill, residue, release, tape, container, cup, mold, sundries, all) = sums;
    let amounts = [
        chip, trim, overfill, residue, release, tape, container, cup, mold, sundries,
    ];
    let mut components = Components::default();
    for (component, amount) in Component::ALL.into_iter().zip(amounts) {
        components.add(component, Money::from_micro(amount))?;
    }
    if components.total()?.micro() == all {
        Ok(components)
    } else {
        Err(Error::internal(
            "a cost stands under a component that the report does not know",
        ))
    }
}

/// The casts demoulded from the first to the last day, by id; with their codes, or what the index of the days holds alone.
pub(super) fn casts_demolded(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
    with_codes: bool,
) -> Result<Vec<CastFacts>, Error> {
    type Row = (i64, i64, Option<NaiveDate>, Option<i64>, Option<i64>);
    let facts = (
        casts::id,
        casts::recipe_id,
        casts::demolded_on,
        casts::good_chips,
        casts::rejected_chips,
    );
    let demolded = casts::table.filter(casts::demolded_on.between(first, last));
    let rows: Vec<(Row, Option<Code>)> = if with_codes {
        demolded
            .select((facts, casts::code.nullable()))
            .load(conn)?
    } else {
        let rows = demolded
            .select(facts)
            .load_iter::<Row, DefaultLoadingMode>(conn)?;
        rows.map(|row| Ok((row?, None)))
            .collect::<Result<_, Error>>()?
    };
    let mut casts: Vec<CastFacts> = rows
        .into_iter()
        .filter_map(|((id, recipe_id, demolded_on, good, rejected), code)| {
            Some(CastFacts {
                id,
                code,
                recipe_id,
                demolded_on: demolded_on?,
                good: good.unwrap_or(0),
                rejected: rejected.unwrap_or(0),
            })
        })
        .collect();
    // Here rather than by the database, which would leave the index of the days for an order by id.
    casts.sort_unstable_by_key(|cast| cast.id);
    Ok(casts)
}

/// Charges of the casts with ids from the first to the last: cast, grant, share in per cent; by cast.
pub(super) fn charges_between(
    conn: &mut AnyConnection,
    (first, last): (i64, i64),
) -> Result<Vec<(i64, i64, Micro)>, Error> {
    Ok(cast_charges::table
        .filter(cast_charges::cast_id.between(first, last))
        .order((cast_charges::cast_id, cast_charges::grant_id))
        .select((
            cast_charges::cast_id,
            cast_charges::grant_id,
            cast_charges::share_micro,
        ))
        .load(conn)?)
}

/// Costs of the casts with ids from the first to the last, over all grants; by cast.
pub(super) fn costs_by_cast(
    conn: &mut AnyConnection,
    (first, last): (i64, i64),
) -> Result<Vec<(i64, Option<i64>, Components)>, Error> {
    let rows = cast_costs::table
        .filter(cast_costs::cast_id.between(first, last))
        .group_by(cast_costs::cast_id)
        .order(cast_costs::cast_id)
        .select((cast_costs::cast_id, sums!()))
        .load_iter::<(i64, Sums), DefaultLoadingMode>(conn)?;
    rows.map(|row| {
        let (cast_id, sums) = row?;
        Ok((cast_id, None, components(sums)?))
    })
    .collect()
}

/// Costs of the casts with ids from the first to the last, by cast and grant.
pub(super) fn costs_by_cast_and_grant(
    conn: &mut AnyConnection,
    (first, last): (i64, i64),
) -> Result<Vec<(i64, Option<i64>, Components)>, Error> {
    let rows = cast_costs::table
        .filter(cast_costs::cast_id.between(first, last))
        .group_by((cast_costs::cast_id, cast_costs::grant_id))
        .order(cast_costs::cast_id)
        .select((cast_costs::cast_id, cast_costs::grant_id, sums!()))
        .load_iter::<(i64, Option<i64>, Sums), DefaultLoadingMode>(conn)?;
    rows.map(|row| {
        let (cast_id, grant_id, sums) = row?;
        Ok((cast_id, grant_id, components(sums)?))
    })
    .collect()
}

/// What was poured by the last day and not demoulded by then: casts and their costs.
pub(super) fn work_in_progress(
    conn: &mut AnyConnection,
    last: NaiveDate,
) -> Result<(usize, Components), Error> {
    let open = casts::poured_on
        .le(last)
        .and(casts::demolded_on.is_null().or(casts::demolded_on.gt(last)));
    // In one statement, since a period long past passes over all casts that came after it.
    let (count, sums): (i64, Sums) = casts::table
        .left_join(cast_costs::table)
        .filter(open)
        .select((count(casts::id).aggregate_distinct(), sums!()))
        .get_result(conn)?;
    Ok((usize::try_from(count).unwrap_or(0), components(sums)?))
}

/// Codes and names of a noun of the catalogue, retired entries included.
pub(super) fn names(conn: &mut AnyConnection, noun: &str) -> Result<Names, Error> {
    let rows: Vec<(i64, Code, String)> = catalogue_entries::table
        .filter(catalogue_entries::noun.eq(noun))
        .select((
            catalogue_entries::id,
            catalogue_entries::code,
            catalogue_entries::name,
        ))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .map(|(id, code, name)| (id, (code, name)))
        .collect())
}
