//! From what the books say of a kit's two parts to the facts of the kit, in grams of mix.
//!
//! Invariants: only parts of one kit lot make usable mix; a part that expires takes the mix with it that it would have
//! made; what was used is counted as the mass of both parts. Absent: reading the books; parts that were bought without a
//! kit lot, which a cast uses only when mixed kits are allowed.

use std::collections::{BTreeMap, BTreeSet};
use std::iter::once;

use chrono::NaiveDate;

use super::demand::DailyDemand;
use super::facts::ReorderFacts;
use super::kits::{KitLot, KitPart, MixRatio, RatioWork, UsableMix, ratio_work, usable_mix};
use super::material_facts::{
    MaterialBooks, apply_terms, arrival, sum, tell_unbooked, usual_lead_time_days,
};
use super::order_lines::{OrderLine, past_lead_days};
use super::walk::{Arrival, Booking, UsablePack};
use crate::catalogue::{Entry, KitBody, MaterialBody, ReorderTerms};
use crate::stock::shelf::PackFacts;

/// A kit with the books of its parts.
#[derive(Debug, Clone, Copy)]
pub struct KitBooks<'a> {
    /// The kit's entry in the catalogue.
    pub kit: &'a Entry<KitBody>,
    /// The mass ratio of its elastomer.
    pub ratio: MixRatio,
    /// Recipes of the elastomer that mix at a ratio of their own, by code.
    pub ratio_recipes: &'a [(String, MixRatio)],
    /// The base.
    pub base: &'a MaterialBooks,
    /// The curing agent.
    pub curing_agent: &'a MaterialBooks,
}

/// The terms on which a kit is ordered: its own; what it leaves open, from its parts, the more careful of the two.
#[must_use]
pub fn kit_terms(kit: &KitBody, base: &MaterialBody, curing_agent: &MaterialBody) -> ReorderTerms {
    let parts = [base, curing_agent];
    let most = |field: fn(&MaterialBody) -> Option<u32>| parts.into_iter().filter_map(field).max();
    let own = kit.reorder_terms();
    ReorderTerms {
        lead_time_days: own
            .lead_time_days
            .or_else(|| most(|part| part.lead_time_days)),
        service_level: kit
            .service_level
            .or_else(|| {
                parts
                    .into_iter()
                    .filter_map(|part| part.service_level)
                    .max()
            })
            .unwrap_or(own.service_level),
        service_measure: kit
            .service_measure
            .or_else(|| parts.into_iter().find_map(|part| part.service_measure))
            .unwrap_or(own.service_measure),
        order_cost: own
            .order_cost
            .or_else(|| parts.into_iter().filter_map(|part| part.order_cost).max()),
        holding_rate: own
            .holding_rate
            .or_else(|| parts.into_iter().filter_map(|part| part.holding_rate).max()),
        min_packs: own.min_packs,
        review_days: kit
            .review_days
            .or_else(|| most(|part| part.review_days))
            .unwrap_or(own.review_days),
        approval_days: kit
            .approval_days
            .or_else(|| most(|part| part.approval_days))
            .unwrap_or(own.approval_days),
        shelf_life_days: own.shelf_life_days.or_else(|| {
            let lives = parts.into_iter().filter_map(|part| part.shelf_life_days);
            lives.min()
        }),
    }
}

impl KitBooks<'_> {
    /// What the usable packs of `today` make together.
    #[must_use]
    pub fn usable_mix(&self, today: NaiveDate) -> UsableMix {
        self.mix(|pack| MaterialBooks::usable_micro(pack, today))
    }

    /// What the recipes of another ratio could do about what would be stranded: how much mix of each would use it up.
    #[must_use]
    pub fn ratio_work(&self, today: NaiveDate) -> Vec<(&str, RatioWork)> {
        let lots = self.lots(|pack| MaterialBooks::usable_micro(pack, today));
        let recipes = self.ratio_recipes.iter();
        recipes
            .filter_map(|(code, ratio)| {
                Some((code.as_str(), ratio_work(&lots, self.ratio, *ratio)?))
            })
            .collect()
    }

    /// The terms on which the kit is ordered.
    #[must_use]
    pub fn terms(&self) -> ReorderTerms {
        kit_terms(
            &self.kit.body,
            &self.base.entry.body,
            &self.curing_agent.entry.body,
        )
    }

    /// The facts for the advice of `today`: quantities in grams of mix, packs being whole kits.
    #[must_use]
    pub fn facts(&self, today: NaiveDate) -> ReorderFacts {
        let terms = self.terms();
        let lines = self.lines();
        let mut facts = ReorderFacts::new(self.kit.code.as_str(), "g of mix", today);
        facts.daily = self.daily();
        facts.bookings = self.bookings();
        facts.packs = self.packs(today);
        facts.on_hand_micro = self.mix(|pack| pack.on_hand.micro()).mix_micro;
        facts.reserved_micro = self.reserved_micro();
        facts.arrivals = self.arrivals(&lines, &terms);
        facts.stated_use_per_month_micro = self.stated_use_micro();
        facts.unit_value_micro = self.unit_value_micro();
        facts.pack_quantity_micro =
            Some(self.content_micro(self.kit.id)).filter(|content| *content > 0);
        apply_terms(&mut facts, &terms, past_lead_days(&lines));
        let planned = [&self.base.planned[..], &self.curing_agent.planned].concat();
        let refused = [&self.base.refused[..], &self.curing_agent.refused].concat();
        tell_unbooked(&mut facts, &planned, &refused);
        facts
    }

    /// What one kit of an id makes, in millionths of a gram of mix.
    fn content_micro(&self, kit_id: i64) -> i64 {
        let content = |part: &MaterialBooks| part.contents.get(&kit_id).copied().unwrap_or(0);
        let lot = KitLot {
            base_micro: content(self.base),
            curing_agent_micro: content(self.curing_agent),
        };
        usable_mix(&[lot], self.ratio).mix_micro
    }

    /// The orders of kits that bring both parts.
    fn lines(&self) -> Vec<OrderLine> {
        let both = |line: &&OrderLine| self.curing_agent.contents.contains_key(&line.item_id);
        let kits = |line: &&OrderLine| self.base.contents.contains_key(&line.item_id);
        let lines = self.base.lines.iter().filter(kits).filter(both);
        lines.cloned().collect()
    }

    fn arrivals(&self, lines: &[OrderLine], terms: &ReorderTerms) -> Vec<Arrival> {
        let usual_days = usual_lead_time_days(lines, terms);
        let lines = lines.iter().filter_map(|line| {
            let content = self.content_micro(line.item_id);
            Some(arrival(
                line.due_on(usual_days)?,
                line.quantity_micro(Some(content)),
                terms,
            ))
        });
        lines.collect()
    }

    /// The mix of all kit lots from what `quantity` finds in their packs.
    fn mix(&self, quantity: impl Fn(&PackFacts) -> i64) -> UsableMix {
        usable_mix(&self.lots(quantity), self.ratio)
    }

    /// The two parts of each kit lot from what `quantity` finds in its packs.
    fn lots(&self, quantity: impl Fn(&PackFacts) -> i64) -> Vec<KitLot> {
        let mut lots: BTreeMap<&str, KitLot> = BTreeMap::new();
        for (part, pack) in self.packs_of_kit_lots() {
            let lot = lots
                .entry(pack.kit_lot.as_deref().unwrap_or_default())
                .or_insert(KitLot {
                    base_micro: 0,
                    curing_agent_micro: 0,
                });
            let of = match part {
                KitPart::Base => &mut lot.base_micro,
                KitPart::CuringAgent => &mut lot.curing_agent_micro,
            };
            *of = of.saturating_add(quantity(pack));
        }
        lots.into_values().collect()
    }

    fn packs_of_kit_lots(&self) -> impl Iterator<Item = (KitPart, &PackFacts)> {
        let base = self.base.packs.iter().map(|pack| (KitPart::Base, pack));
        let agent = self.curing_agent.packs.iter();
        base.chain(agent.map(|pack| (KitPart::CuringAgent, pack)))
            .filter(|(_, pack)| pack.kit_lot.is_some())
    }

    /// The usable mix by the last day on which it can be made: what the packs that last until a day make, less what
    /// those that last longer make.
    fn packs(&self, today: NaiveDate) -> Vec<UsablePack> {
        let expiries: BTreeSet<Option<NaiveDate>> = self
            .packs_of_kit_lots()
            .map(|(_, pack)| pack.effective_expiry())
            .collect();
        // What keeps for ever comes first, then what lasts longest.
        let mut packs = Vec::new();
        let mut longer_micro = 0;
        for last in once(None).chain(expiries.into_iter().rev().flatten().map(Some)) {
            let lasting = self.mix(|pack| match (pack.effective_expiry(), last) {
                (Some(_), None) => 0,
                (Some(expiry), Some(last)) if expiry < last => 0,
                _ => MaterialBooks::usable_micro(pack, today),
            });
            if lasting.mix_micro > longer_micro {
                packs.push(UsablePack {
                    quantity_micro: lasting.mix_micro - longer_micro,
                    expires_on: last,
                });
                longer_micro = lasting.mix_micro;
            }
        }
        packs
    }

    /// The mix that is promised: what the promised part of both would make, the larger.
    fn reserved_micro(&self) -> i64 {
        let promised = |wanted: KitPart| {
            let packs = self.packs_of_kit_lots().filter(|(part, _)| *part == wanted);
            self.ratio
                .mix_with(wanted, sum(packs.map(|(_, pack)| pack.reserved.micro())))
        };
        promised(KitPart::Base).max(promised(KitPart::CuringAgent))
    }

    fn daily(&self) -> Vec<DailyDemand> {
        let mut days: BTreeMap<NaiveDate, i64> = BTreeMap::new();
        for entry in self.base.daily.iter().chain(&self.curing_agent.daily) {
            let day = days.entry(entry.on).or_default();
            *day = day.saturating_add(entry.quantity_micro);
        }
        days.into_iter()
            .map(|(on, quantity_micro)| DailyDemand { on, quantity_micro })
            .collect()
    }

    fn bookings(&self) -> Vec<Booking> {
        let mut days: BTreeMap<NaiveDate, i64> = BTreeMap::new();
        for need in self.base.needs.iter().chain(&self.curing_agent.needs) {
            let day = days.entry(need.on).or_default();
            *day = day.saturating_add(need.quantity_micro);
        }
        days.into_iter()
            .map(|(on, quantity_micro)| Booking { on, quantity_micro })
            .collect()
    }

    fn stated_use_micro(&self) -> Option<i64> {
        let stated = |part: KitPart, books: &MaterialBooks| {
            let monthly = books.entry.body.stated_use_per_month?;
            Some(self.ratio.mix_with(part, monthly.micro()))
        };
        stated(KitPart::Base, self.base).max(stated(KitPart::CuringAgent, self.curing_agent))
    }

    fn unit_value_micro(&self) -> Option<i64> {
        let value = |part: &MaterialBooks| part.price?.unit_value_micro();
        Some(
            self.ratio
                .mean(value(self.base)?, value(self.curing_agent)?),
        )
    }
}
