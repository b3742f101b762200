//! Where a lot went, put together from what left it. Pure.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::view::{
    GrantChips, LossView, LotTrace, OutstandingView, TraceTotal, TracedCast, TracedCoat,
    TracedTreatment, UseView,
};
use crate::base::{Error, Micro, Money, Quantity, apportion};
use crate::casting::life::demold_input::Reject;
use crate::casting::planning::request::Charge;
use crate::catalogue::UNASSIGNED;
use crate::stock::trace::{LotOrigin, Outflow, Outstanding};

/// A cast in short.
#[derive(Debug, Clone)]
pub(super) struct CastInShort {
    pub(super) id: i64,
    pub(super) code: String,
    pub(super) state: String,
    pub(super) recipe: String,
    pub(super) mold: String,
    pub(super) cast_on: NaiveDate,
    pub(super) poured_on: Option<NaiveDate>,
    pub(super) demolded_on: Option<NaiveDate>,
    pub(super) good_chips: Option<i64>,
    pub(super) rejected_chips: Option<i64>,
    pub(super) rejects: Vec<Reject>,
    pub(super) charges: Vec<Charge>,
}

/// A coat that a treatment made, with the casts that drew on it, in the order in which they did.
#[derive(Debug, Clone)]
pub(super) struct CoatFacts {
    pub(super) treatment_id: i64,
    pub(super) treated_on: NaiveDate,
    pub(super) mold: String,
    pub(super) copy: u32,
    pub(super) casts: Vec<i64>,
}

/// All that a lot's trace is made of.
#[derive(Debug, Clone)]
pub(super) struct LotFacts {
    pub(super) lot: LotOrigin,
    pub(super) pack_id: Option<i64>,
    pub(super) outflow: Vec<Outflow>,
    pub(super) outstanding: Vec<Outstanding>,
    /// The coats of the treatments in the outflow.
    pub(super) coats: Vec<CoatFacts>,
    /// Every cast that is named, in the order of booking.
    pub(super) casts: Vec<CastInShort>,
}

/// Puts a trace together.
pub(super) fn lot_trace(facts: LotFacts) -> Result<LotTrace, Error> {
    let casts = casts_reached(&facts)?;
    Ok(LotTrace {
        total: total(&casts),
        grants: grants(&casts)?,
        treatments: treatments(&facts)?,
        outstanding: outstanding(&facts),
        losses: losses(&facts),
        lot: facts.lot,
        pack_id: facts.pack_id,
        casts,
    })
}

fn casts_reached(facts: &LotFacts) -> Result<Vec<TracedCast>, Error> {
    let mut reached = Vec::new();
    for cast in &facts.casts {
        let uses = uses(
            facts
                .outflow
                .iter()
                .filter(|flow| flow.cast_id == Some(cast.id)),
        )?;
        let through: BTreeSet<i64> = facts
            .coats
            .iter()
            .filter(|coat| coat.casts.contains(&cast.id))
            .map(|coat| coat.treatment_id)
            .collect();
        if uses.is_empty() && through.is_empty() {
            continue;
        }
        reached.push(TracedCast {
            cast: cast.code.clone(),
            state: cast.state.clone(),
            recipe: cast.recipe.clone(),
            mold: cast.mold.clone(),
            poured_on: cast.poured_on,
            demolded_on: cast.demolded_on,
            uses,
            through_treatments: through.into_iter().collect(),
            good_chips: cast.good_chips,
            rejected_chips: cast.rejected_chips,
            rejects: cast.rejects.clone(),
            charges: cast.charges.clone(),
        });
    }
    Ok(reached)
}

/// What was taken for one cast, added up by pack, purpose and batch. What was counted in at its pour was not taken.
pub(super) fn uses<'a>(flows: impl Iterator<Item = &'a Outflow>) -> Result<Vec<UseView>, Error> {
    let mut sums: BTreeMap<(String, Option<i32>, Option<i64>), UseView> = BTreeMap::new();
    for flow in flows {
        let Some(purpose) = &flow.purpose else {
            continue;
        };
        let key = (purpose.clone(), flow.batch_no, flow.pack_id);
        let sum = sums.entry(key).or_insert_with(|| UseView {
            pack_id: flow.pack_id,
            purpose: purpose.clone(),
            batch_no: flow.batch_no,
            quantity: Quantity::ZERO,
            value: Money::ZERO,
        });
        sum.quantity = sum.quantity.checked_add(flow.quantity)?;
        sum.value = sum.value.checked_add(flow.value)?;
    }
    Ok(sums.into_values().collect())
}

fn code_of(facts: &LotFacts, id: i64) -> Option<&CastInShort> {
    facts.casts.iter().find(|cast| cast.id == id)
}

fn treatments(facts: &LotFacts) -> Result<Vec<TracedTreatment>, Error> {
    let mut found: BTreeMap<i64, TracedTreatment> = BTreeMap::new();
    for flow in &facts.outflow {
        let Some(id) = flow.treatment_id else {
            continue;
        };
        let treatment = found.entry(id).or_insert_with(|| TracedTreatment {
            id,
            treated_on: flow.on,
            quantity: Quantity::ZERO,
            coats: Vec::new(),
        });
        treatment.quantity = treatment.quantity.checked_add(flow.quantity)?;
    }
    for coat in &facts.coats {
        let Some(treatment) = found.get_mut(&coat.treatment_id) else {
            continue;
        };
        treatment.treated_on = coat.treated_on;
        treatment.coats.push(TracedCoat {
            mold: coat.mold.clone(),
            copy: coat.copy,
            casts: coat
                .casts
                .iter()
                .filter_map(|id| code_of(facts, *id))
                .map(|cast| cast.code.clone())
                .collect(),
        });
    }
    Ok(found.into_values().collect())
}

fn outstanding(facts: &LotFacts) -> Vec<OutstandingView> {
    facts
        .outstanding
        .iter()
        .filter_map(|promised| {
            let cast = code_of(facts, promised.cast_id)?;
            Some(OutstandingView {
                cast: cast.code.clone(),
                state: cast.state.clone(),
                cast_on: cast.cast_on,
                pack_id: promised.pack_id,
                quantity: promised.quantity,
            })
        })
        .collect()
}

/// What belongs to no cast and no treatment, and what was counted in at a pour.
fn losses(facts: &LotFacts) -> Vec<LossView> {
    facts
        .outflow
        .iter()
        .filter(|flow| {
            flow.treatment_id.is_none() && (flow.cast_id.is_none() || flow.purpose.is_none())
        })
        .map(|flow| LossView {
            movement_id: flow.movement_id,
            kind: flow.kind.as_str().to_owned(),
            pack_id: flow.pack_id,
            quantity: flow.quantity,
            value: flow.value,
            reason: flow.reason.clone(),
            on: flow.on,
        })
        .collect()
}

fn total(casts: &[TracedCast]) -> TraceTotal {
    TraceTotal {
        casts: casts.len(),
        not_demolded: casts
            .iter()
            .filter(|cast| cast.good_chips.is_none())
            .count(),
        good_chips: casts.iter().filter_map(|cast| cast.good_chips).sum(),
        rejected_chips: casts.iter().filter_map(|cast| cast.rejected_chips).sum(),
    }
}

/// The chips of each cast by the shares of its charges, to the millionth, with nothing lost (largest remainder).
fn grants(casts: &[TracedCast]) -> Result<Vec<GrantChips>, Error> {
    let mut found: BTreeMap<&str, GrantChips> = BTreeMap::new();
    for cast in casts {
        let mut payers: Vec<(&str, i64)> = cast
            .charges
            .iter()
            .map(|charge| (charge.grant.as_str(), charge.share.micro()))
            .collect();
        if payers.is_empty() {
            payers.push((UNASSIGNED, 1));
        }
        let shares: Vec<i64> = payers.iter().map(|(_, share)| *share).collect();
        let split = |chips: Option<i64>| -> Result<Vec<i64>, Error> {
            let chips = i32::try_from(chips.unwrap_or(0)).map_err(Error::internal)?;
            Ok(apportion(Micro::from_int(chips).micro(), &shares)?)
        };
        let (good, rejected) = (split(cast.good_chips)?, split(cast.rejected_chips)?);
        for (index, (grant, _)) in payers.into_iter().enumerate() {
            let row = found.entry(grant).or_insert_with(|| GrantChips {
                grant: grant.to_owned(),
                casts: 0,
                good_chips: Micro::ZERO,
                rejected_chips: Micro::ZERO,
            });
            row.casts += 1;
            row.good_chips = row.good_chips.checked_add(Micro::from_micro(good[index]))?;
            row.rejected_chips = row
                .rejected_chips
                .checked_add(Micro::from_micro(rejected[index]))?;
        }
    }
    Ok(found.into_values().collect())
}
