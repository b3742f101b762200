//! What lots and pools were worth at the end of a day, and what changed that on the days between. A movement that takes
//! another back counts under the kind of what it takes back, on its own day.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use crate::base::{Error, Money, Quantity};
use crate::costing::stock_value::flow::LotKnown;
use crate::costing::waste::stranded::OnHand;
use crate::db::schema::{cost_pools, lots, movements, pool_movements};
use crate::db::{AnyConnection, as_written, sum_bigint};

diesel::alias!(movements as taken_back: TakenBack);
diesel::alias!(pool_movements as pool_taken_back: PoolTakenBack);

/// Every lot, by its id.
pub(in crate::costing) fn lots_known(
    conn: &mut AnyConnection,
) -> Result<HashMap<i64, LotKnown>, Error> {
    type Row = (i64, i64, Option<i64>, String, Option<String>, NaiveDate);
    let rows: Vec<Row> = lots::table
        .select((
            lots::id,
            lots::material_id,
            lots::funded_by_id,
            lots::code,
            lots::kit_lot,
            lots::received_on,
        ))
        .load(conn)?;
    let known = |(id, material_id, funded_by_id, code, kit_lot, received_on)| {
        let lot = LotKnown {
            material_id,
            funded_by_id,
            code,
            kit_lot,
            received_on,
        };
        (id, lot)
    };
    Ok(rows.into_iter().map(known).collect())
}

/// What lots held at the end of a day, and what that was worth.
pub(in crate::costing) fn value_until(
    conn: &mut AnyConnection,
    last: NaiveDate,
) -> Result<Vec<(i64, OnHand)>, Error> {
    let rows: Vec<(i64, i64, i64)> = movements::table
        .filter(movements::effective_on.le(last))
        .group_by(movements::lot_id)
        .order(movements::lot_id)
        .select((
            movements::lot_id,
            sum_bigint("quantity_micro"),
            sum_bigint("value_micro"),
        ))
        .load(conn)?;
    let on_hand = |(lot_id, quantity, value)| {
        let on_hand = OnHand {
            quantity: Quantity::from_micro(quantity),
            value: Money::from_micro(value),
        };
        (lot_id, on_hand)
    };
    Ok(rows.into_iter().map(on_hand).collect())
}

/// What changed the value of lots from the first day to the last: lot, kind, sum.
pub(in crate::costing) fn value_between(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<(i64, String, Money)>, Error> {
    let lot_id = || as_written::<BigInt>("movements.lot_id");
    let kind = || as_written::<Text>("COALESCE(taken_back.kind, movements.kind)");
    let rows: Vec<(i64, String, i64)> = movements::table
        .left_join(
            taken_back.on(movements::reverses_id.eq(taken_back.field(movements::id).nullable())),
        )
        .filter(movements::effective_on.between(first, last))
        .group_by((lot_id(), kind()))
        .order(lot_id())
        .select((lot_id(), kind(), sum_bigint("movements.value_micro")))
        .load(conn)?;
    let sum = |(lot_id, kind, value)| (lot_id, kind, Money::from_micro(value));
    Ok(rows.into_iter().map(sum).collect())
}

/// What coats and moulds were worth at the end of a day: kind of pool, value.
pub(in crate::costing) fn pool_value_until(
    conn: &mut AnyConnection,
    last: NaiveDate,
) -> Result<Vec<(String, Money)>, Error> {
    let rows: Vec<(String, i64)> = pool_movements::table
        .inner_join(cost_pools::table)
        .filter(pool_movements::effective_on.le(last))
        .group_by(cost_pools::kind)
        .select((cost_pools::kind, sum_bigint("pool_movements.value_micro")))
        .load(conn)?;
    let sum = |(kind, value)| (kind, Money::from_micro(value));
    Ok(rows.into_iter().map(sum).collect())
}

/// What changed the value of coats and moulds: kind of pool, kind of movement, sum.
pub(in crate::costing) fn pool_value_between(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<(String, String, Money)>, Error> {
    let pool = || as_written::<Text>("cost_pools.kind");
    let kind = || as_written::<Text>("COALESCE(pool_taken_back.kind, pool_movements.kind)");
    let rows: Vec<(String, String, i64)> = pool_movements::table
        .inner_join(cost_pools::table)
        .left_join(pool_taken_back.on(
            pool_movements::reverses_id.eq(pool_taken_back.field(pool_movements::id).nullable()),
        ))
        .filter(pool_movements::effective_on.between(first, last))
        .group_by((pool(), kind()))
        .select((pool(), kind(), sum_bigint("pool_movements.value_micro")))
        .load(conn)?;
    let sum = |(pool, kind, value)| (pool, kind, Money::from_micro(value));
    Ok(rows.into_iter().map(sum).collect())
}
