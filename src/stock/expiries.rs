//! Until when the stock is good: each lot in stock that expires, and each open pack that ends before its lot does.
//!
//! Invariants: a held pack is out of use and is not told, nor is one with nothing but its heel; what a pack that ends early
//! holds is told of it alone, and of its lot what the other packs hold. Deliberately absent: what will be used until then
//! (the reorder room foresees that).

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::load::shelf;
use super::shelf::PackFacts;
use super::store;
use crate::base::{Error, Money, Quantity};
use crate::catalogue::materials_by_ids;
use crate::db::AnyConnection;

/// Stock that is good until a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expiry {
    /// The lot.
    pub lot_id: i64,
    /// The pack that ends before its lot does, with its number in the lot; none when it is the lot.
    pub pack: Option<(i64, i32)>,
    /// The supplier's lot code.
    pub lot: String,
    /// The material's code.
    pub material: String,
    /// The material's name.
    pub name: String,
    /// The unit of the quantity.
    pub unit: String,
    /// The last day on which it is good.
    pub on: NaiveDate,
    /// What can still be had of it.
    pub quantity: Quantity,
    /// What that is worth, at the price of its lot.
    pub value: Money,
}

/// The day, the lot, and the pack if it ends early.
type Place = (NaiveDate, i64, Option<(i64, i32)>);

/// What of the stock is good until a day, by that day and lot; what was good until a day before `from` is left out.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn expiries(conn: &mut AnyConnection, from: NaiveDate) -> Result<Vec<Expiry>, Error> {
    let ids = store::materials_in_stock(conn)?;
    let materials: HashMap<_, _> = materials_by_ids(conn, &ids)?
        .into_iter()
        .map(|entry| (entry.id, entry))
        .collect();
    let mut found: BTreeMap<Place, Expiry> = BTreeMap::new();
    for pack in shelf(conn, &ids)? {
        let (Some(on), Some(material)) = (last_good_day(&pack), materials.get(&pack.material_id))
        else {
            continue;
        };
        if on < from {
            continue;
        }
        let ends_early = pack.expires_on != Some(on);
        let of_pack = ends_early.then_some((pack.pack_id, pack.no));
        let entry = found
            .entry((on, pack.lot_id, of_pack))
            .or_insert_with(|| Expiry {
                lot_id: pack.lot_id,
                pack: of_pack,
                lot: pack.lot_code.clone(),
                material: material.code.to_string(),
                name: material.name.clone(),
                unit: material.body.unit.as_str().to_owned(),
                on,
                quantity: Quantity::ZERO,
                value: Money::ZERO,
            });
        let quantity = entry
            .quantity
            .micro()
            .saturating_add(pack.pourable().micro());
        entry.quantity = Quantity::from_micro(quantity);
        entry.value = worth(&pack, entry.quantity);
    }
    Ok(found.into_values().collect())
}

/// The last good day of a pack that can still be used at all.
fn last_good_day(pack: &PackFacts) -> Option<NaiveDate> {
    let told = pack.held_reason.is_none() && pack.pourable() > Quantity::ZERO;
    pack.effective_expiry().filter(|_| told)
}

/// What a quantity of a pack's lot is worth.
fn worth(pack: &PackFacts, quantity: Quantity) -> Money {
    let lot_on_hand = i128::from(pack.lot_on_hand.micro());
    if lot_on_hand <= 0 {
        return Money::ZERO;
    }
    let value = i128::from(pack.lot_value.micro()) * i128::from(quantity.micro()) / lot_on_hand;
    Money::from_micro(i64::try_from(value).unwrap_or(i64::MAX))
}
