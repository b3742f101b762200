//! Making the report of waste from the books.

use std::collections::HashMap;

use super::cast_waste::{CastFate, cast_waste};
use super::grouping::{WasteBy, WasteKey};
use super::report::{WasteGathering, WasteReport};
use super::stranded::{OnHand, StrandedPart, stranded};
use super::tally::Amounts;
use crate::base::{Currency, Error, Micro, Money};
use crate::casting::cost::Components;
use crate::catalogue::elastomer_all;
use crate::costing::by_source::{Used, by_source};
use crate::costing::cast_money::CastMoney;
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::CastFacts;
use crate::costing::replica_cost::report::Names;
use crate::costing::store;
use crate::db::AnyConnection;

/// What was paid for in a period and became no good chip.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money; [`Error::Unavailable`] when the database does not answer.
pub fn waste(
    conn: &mut AnyConnection,
    period: Period,
    by: WasteBy,
    currency: Currency,
) -> Result<WasteReport, Error> {
    let days = period.days();
    let mut gathering = WasteGathering::new(by);
    let mut names = match by {
        WasteBy::Grant => store::names(conn, "grant")?,
        WasteBy::Material => store::names(conn, "material")?,
        WasteBy::Recipe => store::names(conn, "recipe")?,
        WasteBy::Month | WasteBy::Cast => Names::new(),
    };
    let casts = store::casts_demolded(conn, days, by == WasteBy::Cast)?;
    if let (Some(first), Some(last)) = (casts.first(), casts.last()) {
        let facts = CastsFacts::read(conn, (first.id, last.id), by)?;
        let mut money = CastMoney::read(conn, (first.id, last.id), by == WasteBy::Grant)?;
        for cast in &casts {
            let (_, costs) = money.of(cast.id);
            gathering.add_cast(&facts.parts(cast, &costs, by)?)?;
            if let Some(code) = &cast.code {
                names.insert(cast.id, (code.clone(), String::new()));
            }
        }
    }
    for loss in store::losses_between(conn, days)? {
        gathering.add_loss(&loss)?;
    }
    for loss in store::pool_waste_between(conn, days)? {
        gathering.add_loss(&loss)?;
    }
    for loss in store::corrections_wasted_between(conn, days)? {
        gathering.add_loss(&loss)?;
    }
    let on_the_shelf = stranded_on(conn, period)?;
    gathering.report(period, currency, &names, on_the_shelf)
}

/// What is read of many casts at once, by their ids.
struct CastsFacts {
    discarded: HashMap<i64, Money>,
    offcuts: HashMap<i64, Micro>,
    used: HashMap<i64, Vec<Used>>,
}

impl CastsFacts {
    fn read(conn: &mut AnyConnection, ids: (i64, i64), by: WasteBy) -> Result<Self, Error> {
        Ok(Self {
            discarded: store::discarded_by_cast(conn, ids)?,
            offcuts: store::offcut_shares(conn, ids)?,
            used: match by {
                WasteBy::Material => store::used_by_cast(conn, ids)?,
                _ => HashMap::new(),
            },
        })
    }

    /// The rows of a cast, each with what it cost and what of that was wasted.
    fn parts(
        &self,
        cast: &CastFacts,
        costs: &[(Option<i64>, Components)],
        by: WasteBy,
    ) -> Result<Vec<(WasteKey, Money, Amounts)>, Error> {
        let fate = CastFate {
            good: cast.good,
            rejected: cast.rejected,
            discarded: self.discarded.get(&cast.id).copied().unwrap_or_default(),
            offcut_share: self.offcuts.get(&cast.id).copied().unwrap_or_default(),
        };
        let mut keyed: Vec<(WasteKey, Components)> = Vec::new();
        for (grant_id, components) in costs {
            match by {
                WasteBy::Grant => keyed.push((WasteKey::id(*grant_id), *components)),
                WasteBy::Month => keyed.push((WasteKey::month(cast.demolded_on), *components)),
                WasteBy::Recipe => keyed.push((WasteKey::Id(cast.recipe_id), *components)),
                WasteBy::Cast => keyed.push((WasteKey::Id(cast.id), *components)),
                WasteBy::Material => {
                    let used = self.used.get(&cast.id).map_or(&[][..], Vec::as_slice);
                    let parts = by_source(components, used)?;
                    keyed.extend(parts.into_iter().map(|(id, part)| (WasteKey::id(id), part)));
                }
            }
        }
        let parts: Vec<Components> = keyed.iter().map(|(_, part)| *part).collect();
        let wasted = cast_waste(&parts, &fate)?;
        keyed
            .into_iter()
            .zip(wasted)
            .map(|((key, part), wasted)| Ok((key, part.total()?, wasted)))
            .collect()
    }
}

/// By elastomer and kit lot: what is on hand of the base, and of the curing agent.
type Pairs = HashMap<(usize, Option<String>), (OnHand, OnHand)>;

/// The parts of kits without their partner, at the end of a period.
fn stranded_on(conn: &mut AnyConnection, period: Period) -> Result<Vec<StrandedPart>, Error> {
    let elastomers = elastomer_all(conn)?;
    let lots = store::lots_known(conn)?;
    let (_, last) = period.days();
    let materials = store::names(conn, "material")?;
    let mut pairs = Pairs::new();
    for (lot_id, on_hand) in store::value_until(conn, last)? {
        let Some(lot) = lots.get(&lot_id) else {
            continue;
        };
        let code = materials.get(&lot.material_id).map(|(code, _)| code);
        // A part that several elastomers share is counted with the first of them.
        let place = elastomers.iter().position(|elastomer| {
            Some(&elastomer.body.base) == code || Some(&elastomer.body.curing_agent) == code
        });
        let Some(place) = place else { continue };
        let pair = pairs.entry((place, lot.kit_lot.clone())).or_default();
        let side = if Some(&elastomers[place].body.base) == code {
            &mut pair.0
        } else {
            &mut pair.1
        };
        side.quantity = side.quantity.checked_add(on_hand.quantity)?;
        side.value = side.value.checked_add(on_hand.value)?;
    }
    let mut found = Vec::new();
    for ((place, kit_lot), (base, agent)) in pairs {
        let elastomer = &elastomers[place].body;
        let ratio = (elastomer.ratio.base, elastomer.ratio.curing_agent);
        if let Some((part, left)) = stranded(base, agent, ratio)? {
            let material = match part {
                super::stranded::KitPart::Base => &elastomer.base,
                super::stranded::KitPart::CuringAgent => &elastomer.curing_agent,
            };
            found.push(StrandedPart {
                elastomer: elastomer.code.clone(),
                kit_lot,
                part,
                material: material.clone(),
                quantity: left.quantity,
                value: left.value,
            });
        }
    }
    found.sort_by(|a, b| (&a.elastomer, &a.kit_lot).cmp(&(&b.elastomer, &b.kit_lot)));
    Ok(found)
}
