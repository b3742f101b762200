//! The shelf of a course: what its earlier sessions leave to a later one.
//!
//! Invariants: a session's picks are not free for a later one; a need that could not be served in full uses up what there
//! is of it, since what is missing will be bought beside it. A pack that is picked is opened on that day. Trays and cups
//! that are used again are back once their chips are cured: the day after, or as many days after as the cure takes
//! (*assumption*). Deliberately absent: deliveries between the sessions.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::cure::effective_cure;
use super::geometry::durable;
use super::plan::{PlanFacts, Planned};
use crate::base::Quantity;
use crate::catalogue::RecipeFacts;
use crate::stock::needs::Need;
use crate::stock::shelf::PackFacts;

const DAY_MIN: f64 = 1440.0;

/// What the sessions so far have done to the packs.
#[derive(Debug, Default)]
pub(super) struct CourseShelf {
    taken: BTreeMap<i64, i64>,
    opened: BTreeMap<i64, NaiveDate>,
    in_use: Vec<InUse>,
}

/// A durable that is in use.
#[derive(Debug)]
struct InUse {
    pack_id: i64,
    quantity: i64,
    back_on: NaiveDate,
}

impl CourseShelf {
    /// The shelf as a session on `day` finds it.
    pub(super) fn found_on(&self, day: NaiveDate, shelf: &[PackFacts]) -> Vec<PackFacts> {
        let mut found = shelf.to_vec();
        for pack in &mut found {
            let taken = self.taken.get(&pack.pack_id).copied().unwrap_or(0);
            let in_use = self.in_use.iter();
            let in_use: i64 = in_use
                .filter(|held| held.pack_id == pack.pack_id && held.back_on > day)
                .map(|held| held.quantity)
                .sum();
            let reserved = pack.reserved.micro().saturating_add(taken);
            pack.reserved = Quantity::from_micro(reserved.saturating_add(in_use));
            pack.opened_on = pack
                .opened_on
                .or_else(|| self.opened.get(&pack.pack_id).copied());
        }
        found
    }

    /// Takes off what a session uses, whose facts hold the shelf as it was found.
    pub(super) fn take(
        &mut self,
        facts: &PlanFacts,
        day: NaiveDate,
        cross: bool,
        planned: &Planned,
    ) {
        let mut shelf = facts.shelf.clone();
        for picked in &planned.list.picks {
            let need = &planned.sizing.needs[picked.need];
            self.take_from(
                &mut shelf[picked.pack],
                facts,
                need,
                day,
                picked.quantity.micro(),
            );
        }
        for index in &planned.list.unserved {
            let need = &planned.sizing.needs[*index];
            let mut left = need.quantity.micro();
            for pack in shelf
                .iter_mut()
                .filter(|pack| serves(pack, facts, need, day, cross))
            {
                let piece = need.piece.micro().max(1);
                let portion = (pack.free().micro() / piece * piece).min(left);
                left -= portion;
                self.take_from(pack, facts, need, day, portion);
            }
        }
    }

    fn take_from(
        &mut self,
        pack: &mut PackFacts,
        facts: &PlanFacts,
        need: &Need,
        day: NaiveDate,
        quantity: i64,
    ) {
        if quantity == 0 {
            return;
        }
        pack.reserved = Quantity::from_micro(pack.reserved.micro().saturating_add(quantity));
        if comes_back(&facts.recipe, need) {
            self.in_use.push(InUse {
                pack_id: pack.pack_id,
                quantity,
                back_on: back_on(&facts.recipe, day),
            });
        } else {
            *self.taken.entry(pack.pack_id).or_default() += quantity;
            self.opened.entry(pack.pack_id).or_insert(day);
        }
    }
}

/// Whether a pack may serve a need on a day.
fn serves(pack: &PackFacts, facts: &PlanFacts, need: &Need, day: NaiveDate, cross: bool) -> bool {
    pack.material_id == need.material_id && pack.barred(day).is_none() && (facts.own(pack) || cross)
}

/// What of a material is free and usable on a day, for the grants of a session.
pub(super) fn free_on(facts: &PlanFacts, need: &Need, day: NaiveDate, cross: bool) -> Quantity {
    let packs = facts.shelf.iter();
    let free = packs
        .filter(|pack| serves(pack, facts, need, day, cross))
        .map(|pack| pack.free().micro())
        .fold(0_i64, i64::saturating_add);
    Quantity::from_micro(free)
}

/// Whether what a need takes comes back after its use.
pub(super) fn comes_back(recipe: &RecipeFacts, need: &Need) -> bool {
    durable(recipe, need.purpose).is_some()
}

/// The day from which what was used on `day` can be used again.
pub(super) fn back_on(recipe: &RecipeFacts, day: NaiveDate) -> NaiveDate {
    let cure = effective_cure(&recipe.recipe.body, &recipe.elastomer.body);
    let days = cure.map_or(1.0, |(cure, _)| {
        (cure.minutes.to_f64() / DAY_MIN).ceil().max(1.0)
    });
    day.checked_add_days(Days::new(days as u64))
        .unwrap_or(NaiveDate::MAX)
}
