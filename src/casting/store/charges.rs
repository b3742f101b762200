//! Who is charged: what grants pay for, and how charges were changed.

use std::collections::HashMap;

use chrono::NaiveDateTime;
use diesel::dsl::case_when;
use diesel::prelude::*;

use crate::base::{Error, Micro, Money};
use crate::db::schema::{
    cast_charges, cast_costs, casts, charge_changes, lots, movements, price_shares,
};
use crate::db::{AnyConnection, sum_bigint};

/// A cast that a grant is charged for.
#[derive(Debug, Clone, Queryable)]
pub(in crate::casting) struct ChargedRow {
    pub(in crate::casting) cast_id: i64,
    /// The share, in per cent.
    pub(in crate::casting) share: Micro,
    /// The plan, while the cast is booked.
    pub(in crate::casting) booked_plan: Option<String>,
    /// What it has cost the grant; 0 before the pour.
    pub(in crate::casting) cost: Money,
}

/// The casts that a grant is charged for, in one statement, so that a cast poured meanwhile is counted once.
pub(in crate::casting) fn charged_to_grant(
    conn: &mut AnyConnection,
    grant_id: i64,
) -> Result<Vec<ChargedRow>, Error> {
    let cost = cast_costs::table
        .filter(cast_costs::cast_id.eq(casts::id))
        .filter(cast_costs::grant_id.eq(grant_id))
        .select(sum_bigint("amount_micro"))
        .single_value();
    let plan = case_when(casts::state.eq("booked"), casts::plan.nullable());
    let rows: Vec<(i64, Micro, Option<String>, Option<Money>)> = cast_charges::table
        .inner_join(casts::table)
        .filter(cast_charges::grant_id.eq(grant_id))
        .filter(casts::state.ne("cancelled"))
        .order(casts::id)
        .select((casts::id, cast_charges::share_micro, plan, cost))
        .load(conn)?;
    let row = |(cast_id, share, booked_plan, cost): (i64, Micro, _, Option<Money>)| ChargedRow {
        cast_id,
        share,
        booked_plan,
        cost: cost.unwrap_or(Money::ZERO),
    };
    Ok(rows.into_iter().map(row).collect())
}

/// What corrected prices have charged to a grant for casts that had used the goods already.
pub(in crate::casting) fn price_variance_of_grant(
    conn: &mut AnyConnection,
    grant_id: i64,
) -> Result<Money, Error> {
    let sum: i64 = price_shares::table
        .filter(price_shares::grant_id.eq(grant_id))
        .filter(price_shares::kind.eq("price_variance"))
        .select(sum_bigint("amount_micro"))
        .get_result(conn)?;
    Ok(Money::from_micro(sum))
}

/// What of a cast changes with who is charged for it.
#[derive(Debug, AsChangeset)]
#[diesel(table_name = casts)]
pub(in crate::casting) struct Recharged<'a> {
    pub(in crate::casting) allow_cross_charge: bool,
    pub(in crate::casting) request: &'a str,
    pub(in crate::casting) plan: &'a str,
}

/// Writes who is charged for a cast instead of who was, with the request and the plan that say so.
pub(in crate::casting) fn cast_recharge(
    conn: &mut AnyConnection,
    id: i64,
    recharged: &Recharged<'_>,
    charges: &[(i64, Micro)],
) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((recharged, casts::version.eq(casts::version + 1)))
        .execute(conn)?;
    diesel::delete(cast_charges::table.filter(cast_charges::cast_id.eq(id))).execute(conn)?;
    super::charges_insert(conn, id, charges)
}

/// A change of who is charged for a cast.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = charge_changes)]
pub(in crate::casting) struct ChargeChangeRow {
    pub(in crate::casting) cast_id: i64,
    pub(in crate::casting) before_json: String,
    pub(in crate::casting) after_json: String,
    pub(in crate::casting) reason: String,
    pub(in crate::casting) actor: String,
    pub(in crate::casting) recorded_at: NaiveDateTime,
}

/// A change of charges to be kept.
#[derive(Debug, Insertable)]
#[diesel(table_name = charge_changes)]
pub(in crate::casting) struct NewChargeChange<'a> {
    pub(in crate::casting) cast_id: i64,
    pub(in crate::casting) before_json: &'a str,
    pub(in crate::casting) after_json: &'a str,
    pub(in crate::casting) reason: &'a str,
    pub(in crate::casting) actor: &'a str,
    pub(in crate::casting) recorded_at: NaiveDateTime,
}

pub(in crate::casting) fn charge_change_insert(
    conn: &mut AnyConnection,
    change: &NewChargeChange<'_>,
) -> Result<(), Error> {
    diesel::insert_into(charge_changes::table)
        .values(change)
        .execute(conn)?;
    Ok(())
}

/// The changes of several casts' charges, by cast, the oldest first.
pub(in crate::casting) fn charge_changes_by_cast(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<ChargeChangeRow>>, Error> {
    let rows: Vec<ChargeChangeRow> = charge_changes::table
        .filter(charge_changes::cast_id.eq_any(cast_ids))
        .order(charge_changes::id)
        .select(ChargeChangeRow::as_select())
        .load(conn)?;
    let mut changes: HashMap<i64, Vec<ChargeChangeRow>> = HashMap::new();
    for row in rows {
        changes.entry(row.cast_id).or_default().push(row);
    }
    Ok(changes)
}

/// The lots that a cast took from and that a grant paid for: lot code, the grant's id.
pub(in crate::casting) fn funded_lots_of_cast(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<Vec<(String, i64)>, Error> {
    let rows: Vec<(i64, String, Option<i64>, i64)> = movements::table
        .inner_join(lots::table)
        .filter(movements::cast_id.eq(cast_id))
        .filter(lots::funded_by_id.is_not_null())
        .group_by((lots::id, lots::code, lots::funded_by_id))
        .order(lots::id)
        .select((
            lots::id,
            lots::code,
            lots::funded_by_id,
            sum_bigint("value_micro"),
        ))
        .load(conn)?;
    // What an undo gave back was not used.
    let used = rows.into_iter().filter(|(_, _, _, value)| *value != 0);
    Ok(used
        .filter_map(|(_, code, grant, _)| Some((code, grant?)))
        .collect())
}
