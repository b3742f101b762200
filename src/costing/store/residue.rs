//! Weighed cups, poured casts, and what a gram of a material is worth.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::{Code, Error, Money, Quantity};
use crate::costing::residue::drain::{PartPrice, PriceBasis};
use crate::costing::residue::facts::{Observation, PouredCast};
use crate::db::schema::{casts, lots, packs, residue_observations};
use crate::db::{AnyConnection, sum_bigint};

/// How many casts' documents are in memory at once.
const CASTS_AT_ONCE: i64 = 500;

/// Every weighing that stands, in the order in which they were learned.
pub(in crate::costing) fn observations(
    conn: &mut AnyConnection,
) -> Result<Vec<Observation>, Error> {
    type Row = (i64, i32, i64, i64, Quantity, Quantity, NaiveDate);
    let rows: Vec<Row> = residue_observations::table
        .filter(residue_observations::withdrawn_at.is_null())
        .order(residue_observations::id)
        .select((
            residue_observations::cast_id,
            residue_observations::batch_no,
            residue_observations::cup_id,
            residue_observations::elastomer_id,
            residue_observations::film_micro,
            residue_observations::weighed_micro,
            residue_observations::observed_on,
        ))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .map(
            |(cast_id, batch_no, cup_id, elastomer_id, film, weighed, on)| Observation {
                cast_id,
                batch_no,
                cup_id,
                elastomer_id,
                film,
                weighed,
                on,
            },
        )
        .collect())
}

/// The casts poured from the first to the last day, by id.
pub(in crate::costing) fn casts_poured(
    conn: &mut AnyConnection,
    (first, last): (NaiveDate, NaiveDate),
) -> Result<Vec<PouredCast>, Error> {
    type Row = (i64, Code, i64, Option<NaiveDate>, String, Option<String>);
    let mut poured = Vec::new();
    let mut after = 0;
    loop {
        let rows: Vec<Row> = casts::table
            .filter(casts::poured_on.ge(first))
            .filter(casts::poured_on.le(last))
            .filter(casts::id.gt(after))
            .order(casts::id)
            .limit(CASTS_AT_ONCE)
            .select((
                casts::id,
                casts::code,
                casts::recipe_id,
                casts::poured_on,
                casts::plan,
                casts::pour,
            ))
            .load(conn)?;
        let Some(next) = rows.last().map(|row| row.0) else {
            return Ok(poured);
        };
        after = next;
        for (id, code, recipe_id, poured_on, plan, pour) in rows {
            if let (Some(poured_on), Some(pour)) = (poured_on, pour) {
                let cast = PouredCast::read((id, code, recipe_id), poured_on, &plan, &pour)?;
                poured.push(cast);
            }
        }
    }
}

/// What materials are worth: all that is on hand together, else the lot received last. What was never received is left
/// out.
pub(in crate::costing) fn part_prices(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<HashMap<i64, PartPrice>, Error> {
    let on_hand: Vec<(i64, i64, i64)> = lots::table
        .filter(lots::material_id.eq_any(material_ids))
        .filter(lots::on_hand_micro.gt(0))
        .group_by(lots::material_id)
        .select((
            lots::material_id,
            sum_bigint("on_hand_micro"),
            sum_bigint("remaining_value_micro"),
        ))
        .load(conn)?;
    let mut prices: HashMap<i64, PartPrice> = on_hand
        .into_iter()
        .map(|(material_id, quantity, value)| {
            let price = PartPrice {
                value: Money::from_micro(value),
                quantity: Quantity::from_micro(quantity),
                basis: PriceBasis::OnHand,
            };
            (material_id, price)
        })
        .collect();
    for material_id in material_ids {
        if !prices.contains_key(material_id)
            && let Some(price) = last_received(conn, *material_id)?
        {
            prices.insert(*material_id, price);
        }
    }
    Ok(prices)
}

fn last_received(conn: &mut AnyConnection, material_id: i64) -> Result<Option<PartPrice>, Error> {
    let lot: Option<(i64, Money)> = lots::table
        .filter(lots::material_id.eq(material_id))
        .order((lots::received_on.desc(), lots::id.desc()))
        .select((lots::id, lots::landed_cost_micro))
        .first(conn)
        .optional()?;
    let Some((lot_id, value)) = lot else {
        return Ok(None);
    };
    let received: i64 = packs::table
        .filter(packs::lot_id.eq(lot_id))
        .select(sum_bigint("received_micro"))
        .get_result(conn)?;
    Ok((received > 0).then_some(PartPrice {
        value,
        quantity: Quantity::from_micro(received),
        basis: PriceBasis::LastReceived,
    }))
}
