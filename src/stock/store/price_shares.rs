//! Shares of price corrections, and corrections held against their shares.

use std::collections::HashMap;

use diesel::prelude::*;

use crate::base::{Error, Money};
use crate::db::schema::{lots, materials, movements, price_corrections, price_shares};
use crate::db::{AnyConnection, sum_bigint};
use crate::stock::price_shares::{Borne, NewShare};

pub(in crate::stock) fn share_insert(
    conn: &mut AnyConnection,
    share: &NewShare,
    movement_id: Option<i64>,
) -> Result<(), Error> {
    let (kind, cast_id, grant_id) = match share.borne {
        Borne::Stock => ("stock", None, None),
        Borne::Variance { cast_id, grant_id } => ("price_variance", cast_id, grant_id),
        Borne::Waste => ("waste", None, None),
    };
    diesel::insert_into(price_shares::table)
        .values((
            price_shares::correction_id.eq(share.correction_id),
            price_shares::lot_id.eq(share.lot_id),
            price_shares::kind.eq(kind),
            price_shares::movement_id.eq(movement_id),
            price_shares::cast_id.eq(cast_id),
            price_shares::grant_id.eq(grant_id),
            price_shares::amount_micro.eq(share.amount),
            price_shares::posted_on.eq(share.on),
        ))
        .execute(conn)?;
    Ok(())
}

/// What a cast bears of a correction.
#[derive(Debug, Clone)]
pub(in crate::stock) struct CastShareRow {
    pub(in crate::stock) correction_id: i64,
    pub(in crate::stock) lot_id: i64,
    pub(in crate::stock) grant_id: Option<i64>,
    pub(in crate::stock) amount: Money,
    /// Whether the lot is of vials, whose value reaches casts by coats.
    pub(in crate::stock) on_coats: bool,
}

pub(in crate::stock) fn shares_of_cast(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<Vec<CastShareRow>, Error> {
    type Row = (i64, i64, Option<i64>, Money, String);
    let rows: Vec<Row> = price_shares::table
        .inner_join(lots::table.inner_join(materials::table))
        .filter(price_shares::cast_id.eq(cast_id))
        .order(price_shares::id)
        .select((
            price_shares::correction_id,
            price_shares::lot_id,
            price_shares::grant_id,
            price_shares::amount_micro,
            materials::kind,
        ))
        .load(conn)?;
    let row = |(correction_id, lot_id, grant_id, amount, kind): Row| CastShareRow {
        correction_id,
        lot_id,
        grant_id,
        amount,
        on_coats: kind == "release_agent",
    };
    Ok(rows.into_iter().map(row).collect())
}

/// Corrections that differ from the sum of their shares: id, value, sum.
pub(in crate::stock) fn corrections_against_shares(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, i64, i64)>, Error> {
    let sums: Vec<(i64, i64)> = price_shares::table
        .group_by(price_shares::correction_id)
        .select((price_shares::correction_id, sum_bigint("amount_micro")))
        .load(conn)?;
    let sums: HashMap<i64, i64> = sums.into_iter().collect();
    let corrections: Vec<(i64, i64)> = price_corrections::table
        .order(price_corrections::id)
        .select((price_corrections::id, price_corrections::value_micro))
        .load(conn)?;
    Ok(corrections
        .into_iter()
        .map(|(id, value)| (id, value, sums.get(&id).copied().unwrap_or(0)))
        .filter(|(_, value, sum)| value != sum)
        .collect())
}

/// Revaluations that differ from the share that they stand for: movement, its value, the share's.
pub(in crate::stock) fn revaluations_against_shares(
    conn: &mut AnyConnection,
) -> Result<Vec<(i64, i64, i64)>, Error> {
    let shares: Vec<(Option<i64>, i64)> = price_shares::table
        .filter(price_shares::kind.eq("stock"))
        .select((price_shares::movement_id, price_shares::amount_micro))
        .load(conn)?;
    let mut shares: HashMap<i64, i64> = shares
        .into_iter()
        .filter_map(|(movement, amount)| Some((movement?, amount)))
        .collect();
    let rows: Vec<(i64, i64)> = movements::table
        .filter(movements::kind.eq("revaluation"))
        .order(movements::id)
        .select((movements::id, movements::value_micro))
        .load(conn)?;
    let mut wrong: Vec<(i64, i64, i64)> = rows
        .into_iter()
        .map(|(id, value)| (id, value, shares.remove(&id).unwrap_or(0)))
        .collect();
    wrong.extend(shares.into_iter().map(|(id, amount)| (id, 0, amount)));
    wrong.retain(|(_, value, share)| value != share);
    Ok(wrong)
}
