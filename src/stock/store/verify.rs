//! Sums for verification, each read from the rows it is made of.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDate;
use diesel::prelude::*;

use super::needs_of;
use super::reservations::purpose;
use crate::base::{Error, Money};
use crate::db::schema::{
    cast_costs, casts, cost_pools, daily_demand, lots, movements, packs, pool_movements,
    reservations, treatment_vials,
};
use crate::db::{AnyConnection, sum_bigint};

/// Active promises by pack, in millionths.
pub(in crate::stock) fn promised_by_pack(
    conn: &mut AnyConnection,
) -> Result<HashMap<i64, i64>, Error> {
    let rows: Vec<(i64, i64)> = reservations::table
        .filter(reservations::state.eq("active"))
        .group_by(reservations::pack_id)
        .select((reservations::pack_id, sum_bigint("quantity_micro")))
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// Every pack with what it is said to hold and to have promised.
pub(in crate::stock) fn packs_promised(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, i64, i64)>, Error> {
    Ok(packs::table
        .order(packs::id)
        .select((packs::id, packs::on_hand_micro, packs::reserved_micro))
        .load(conn)?)
}

/// Active reservations of casts that may hold none; a poured cast may hold its trays.
pub(in crate::stock) fn promises_astray(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, String)>, Error> {
    let rows: Vec<(i64, String, String)> = reservations::table
        .inner_join(casts::table)
        .filter(reservations::state.eq("active"))
        .filter(casts::state.ne("booked"))
        .order(reservations::id)
        .select((reservations::id, casts::state, reservations::purpose))
        .load(conn)?;
    let in_use =
        |state: &str, purpose: &str| state == "poured" && matches!(purpose, "container" | "cup");
    Ok(rows
        .into_iter()
        .filter(|(_, state, purpose)| !in_use(state, purpose))
        .map(|(id, state, _)| (id, state))
        .collect())
}

/// Booked casts: id, code, whether marked short, and whether they lack something.
pub(in crate::stock) fn casts_uncovered(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, String, bool, bool)>, Error> {
    let rows: Vec<(i64, String, bool)> = casts::table
        .filter(casts::state.eq("booked"))
        .order(casts::id)
        .select((casts::id, casts::code, casts::short))
        .load(conn)?;
    let ids: Vec<i64> = rows.iter().map(|row| row.0).collect();
    let needs = needs_of(conn, &ids)?;
    let held = held_by_need(conn, &ids)?;
    Ok(rows
        .into_iter()
        .map(|(id, code, short)| {
            let lacks = needs.get(&id).into_iter().flatten().any(|need| {
                let key = (id, need.material_id, need.purpose.as_str(), need.batch_no);
                held.get(&key).copied().unwrap_or(0) < need.quantity.micro()
            });
            (id, code, short, lacks)
        })
        .collect())
}

/// Cast, material, purpose, batch.
type NeedKey = (i64, i64, &'static str, i32);

/// What casts hold, in millionths.
fn held_by_need(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<NeedKey, i64>, Error> {
    let rows: Vec<(i64, i64, String, i32, i64)> = reservations::table
        .inner_join(packs::table.inner_join(lots::table))
        .filter(reservations::cast_id.eq_any(cast_ids))
        .filter(reservations::state.eq("active"))
        .select((
            reservations::cast_id,
            lots::material_id,
            reservations::purpose,
            reservations::batch_no,
            reservations::quantity_micro,
        ))
        .load(conn)?;
    let mut held = HashMap::new();
    for (cast, material, word, batch, quantity) in rows {
        let key = (cast, material, purpose(&word)?.as_str(), batch);
        *held.entry(key).or_default() += quantity;
    }
    Ok(held)
}

/// The kept sums of demand.
pub(in crate::stock) fn daily_demand_all(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, NaiveDate, i64)>, Error> {
    Ok(daily_demand::table
        .order((daily_demand::material_id, daily_demand::day))
        .select((
            daily_demand::material_id,
            daily_demand::day,
            daily_demand::quantity_micro,
        ))
        .load(conn)?)
}

/// By cast: the cost as kept, and what ledger and pools issued to it (pool fills made by the cast taken off).
pub(in crate::stock) fn cast_costs_against_ledger(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, i64, i64)>, Error> {
    let kept: Vec<(i64, i64)> = cast_costs::table
        .group_by(cast_costs::cast_id)
        .select((cast_costs::cast_id, sum_bigint("amount_micro")))
        .load(conn)?;
    let ledger: Vec<(Option<i64>, i64)> = movements::table
        .filter(movements::cast_id.is_not_null())
        .group_by(movements::cast_id)
        .select((movements::cast_id, sum_bigint("value_micro")))
        .load(conn)?;
    let pools: Vec<(Option<i64>, i64)> = pool_movements::table
        .filter(pool_movements::cast_id.is_not_null())
        .group_by(pool_movements::cast_id)
        .select((pool_movements::cast_id, sum_bigint("value_micro")))
        .load(conn)?;
    let mut sums: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
    for (cast_id, amount) in kept {
        sums.entry(cast_id).or_default().0 += amount;
    }
    for (cast_id, value) in ledger.into_iter().chain(pools) {
        if let Some(cast_id) = cast_id {
            sums.entry(cast_id).or_default().1 -= value;
        }
    }
    Ok(sums
        .into_iter()
        .map(|(id, (kept, issued))| (id, kept, issued))
        .collect())
}

/// By treatment: what its vials took from the stock, and what its coats were filled with, both net of reversals.
pub(in crate::stock) fn treatments_against_coats(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, i64, i64)>, Error> {
    let vials: Vec<(i64, i64, Money)> = treatment_vials::table
        .inner_join(movements::table)
        .select((
            treatment_vials::movement_id,
            treatment_vials::treatment_id,
            movements::value_micro,
        ))
        .load(conn)?;
    let of_vials = treatment_vials::table.select(treatment_vials::movement_id.nullable());
    let back: Vec<(Option<i64>, Money)> = movements::table
        .filter(movements::reverses_id.eq_any(of_vials))
        .select((movements::reverses_id, movements::value_micro))
        .load(conn)?;
    let treatment: HashMap<i64, i64> = vials.iter().map(|row| (row.0, row.1)).collect();
    type Filled = (Option<i64>, String, Option<i64>, i64, Money);
    let fills: Vec<Filled> = pool_movements::table
        .inner_join(cost_pools::table)
        .filter(cost_pools::treatment_id.is_not_null())
        .select((
            cost_pools::treatment_id,
            pool_movements::kind,
            pool_movements::reverses_id,
            pool_movements::id,
            pool_movements::value_micro,
        ))
        .load(conn)?;
    let filled: HashSet<i64> = fills
        .iter()
        .filter(|row| row.1 == "fill")
        .map(|row| row.3)
        .collect();
    let mut sums: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
    for (_, id, value) in &vials {
        sums.entry(*id).or_default().0 -= value.micro();
    }
    for (reversed, value) in back {
        if let Some(id) = reversed.and_then(|id| treatment.get(&id)) {
            sums.entry(*id).or_default().0 -= value.micro();
        }
    }
    for (treatment, kind, reverses, _, value) in &fills {
        let of_fill = kind == "fill" || reverses.is_some_and(|id| filled.contains(&id));
        if let (Some(id), true) = (treatment, of_fill) {
            sums.entry(*id).or_default().1 += value.micro();
        }
    }
    Ok(sums
        .into_iter()
        .map(|(id, (vials, coats))| (id, vials, coats))
        .collect())
}
