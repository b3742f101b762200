//! From what the books say of one material to the facts its advice is made from.
//!
//! Invariants: held packs, heels and what has expired are not usable stock; a thing that comes back after its use is
//! asked for only as far as a booked cast still lacks it; what is ordered as a kit arrives as its parts and is ordered on
//! the kit's terms; what bookings told of in time is kept apart from what has to be forecast. Absent: reading the books;
//! the forecast. Of a thing that comes back the history is given whole, and bookings use its forecast up.

use std::collections::{BTreeMap, HashMap};

use chrono::{Days, NaiveDate};

use super::demand::DailyDemand;
use super::facts::ReorderFacts;
use super::lead_time::{LEAD_TIME_DAYS_ASSUMED, lead_time};
use super::notice::{PlannedDemand, RefusedDemand, in_time_days, unbooked};
use super::order_lines::{OrderLine, past_lead_days};
use super::walk::{Arrival, Booking, UsablePack};
use crate::catalogue::{Entry, KitBody, MaterialBody, ReorderTerms};
use crate::stock::shelf::PackFacts;

/// What a booked cast needs of a material.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CastNeed {
    /// The cast.
    pub cast_id: i64,
    /// Its day.
    pub on: NaiveDate,
    /// How much, in millionths of the unit.
    pub quantity_micro: i64,
}

/// What a lot cost on arrival, and for how much.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Price {
    /// The landed cost, in millionths of the currency.
    pub landed_cost_micro: i64,
    /// What was received for it, in millionths of the unit.
    pub received_micro: i64,
}

impl Price {
    /// The cost of one unit, in millionths of the currency, rounded half up; none when nothing was received.
    ///
    /// ```
    /// use heeltap::reorder::material_facts::Price;
    /// let price = Price { landed_cost_micro: 10_000_000, received_micro: 3_000_000 };
    /// assert_eq!(price.unit_value_micro(), Some(3_333_333));
    /// ```
    #[must_use]
    pub fn unit_value_micro(&self) -> Option<i64> {
        let received = i128::from(self.received_micro);
        let cost = i128::from(self.landed_cost_micro) * 1_000_000;
        (received > 0)
            .then(|| i64::try_from((cost + received / 2).div_euclid(received)).unwrap_or(i64::MAX))
    }
}

/// The kit that a material is ordered as.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderedAs {
    /// The kit.
    pub kit: Entry<KitBody>,
    /// What one kit holds of the material, in millionths of a gram.
    pub content_micro: i64,
    /// The terms on which the kit is ordered.
    pub terms: ReorderTerms,
}

/// All that the books say of one material.
#[derive(Debug, Clone)]
pub struct MaterialBooks {
    /// Its entry in the catalogue.
    pub entry: Entry<MaterialBody>,
    /// What was used, by day.
    pub daily: Vec<DailyDemand>,
    /// What the casts that used it had planned.
    pub planned: Vec<PlannedDemand>,
    /// What refused bookings would have used of it, each once.
    pub refused: Vec<RefusedDemand>,
    /// What booked casts need of it.
    pub needs: Vec<CastNeed>,
    /// What of it is promised to booked casts, by cast; only for things that come back after their use.
    pub promised: HashMap<i64, i64>,
    /// Every pack in stock.
    pub packs: Vec<PackFacts>,
    /// The lines of orders for it and for kits that hold it, the oldest order first.
    pub lines: Vec<OrderLine>,
    /// What one kit holds of it, in millionths of a gram, for each kit that does.
    pub contents: HashMap<i64, i64>,
    /// The kit it is ordered as, if it is.
    pub ordered_as: Option<OrderedAs>,
    /// What its last lot cost.
    pub price: Option<Price>,
}

impl MaterialBooks {
    /// What of a pack can be used on `today`, reserved quantity included, in millionths of the unit: nothing when it is
    /// held or expired, and never the heel.
    #[must_use]
    pub fn usable_micro(pack: &PackFacts, today: NaiveDate) -> i64 {
        if pack.barred(today).is_some() {
            return 0;
        }
        (pack.on_hand.micro() - pack.heel.micro()).max(0)
    }

    /// The terms on which it is ordered: the kit's when it is ordered as one.
    #[must_use]
    pub fn terms(&self) -> ReorderTerms {
        self.ordered_as
            .as_ref()
            .map_or_else(|| self.entry.body.reorder_terms(), |kit| kit.terms)
    }

    /// The lead time that an order placed without a day of arrival is given, in days.
    #[must_use]
    pub fn lead_time_days(&self) -> f64 {
        usual_lead_time_days(&self.lines, &self.terms())
    }

    /// The facts for the advice of `today`.
    #[must_use]
    pub fn facts(&self, today: NaiveDate) -> ReorderFacts {
        let body = &self.entry.body;
        let durable = body.is_durable();
        let terms = self.terms();
        let on_hand_micro = sum(self.packs.iter().map(|pack| pack.on_hand.micro()));
        let reserved_micro = sum(self.packs.iter().map(|pack| pack.reserved.micro()));
        let packs = self.packs.iter().filter_map(|pack| {
            let usable = MaterialBooks::usable_micro(pack, today);
            // What comes back is not used up by the cast it is promised to: only what is free can serve another.
            let taken = if durable { pack.reserved.micro() } else { 0 };
            (usable > taken).then(|| UsablePack {
                quantity_micro: usable - taken,
                expires_on: pack.effective_expiry(),
            })
        });
        let mut facts = ReorderFacts::new(self.entry.code.as_str(), body.unit.as_str(), today);
        facts.daily = self.daily.clone();
        facts.bookings = self.bookings(durable);
        facts.packs = packs.collect();
        facts.on_hand_micro = on_hand_micro;
        facts.reserved_micro = if durable { 0 } else { reserved_micro };
        facts.arrivals = self.arrivals(&terms);
        facts.stated_use_per_month_micro = body.stated_use_per_month.map(|use_| use_.micro());
        facts.unit_value_micro = self.price.and_then(|price| price.unit_value_micro());
        facts.pack_quantity_micro = match &self.ordered_as {
            Some(kit) => Some(kit.content_micro),
            None => body
                .pack_quantity
                .map(|pack| pack.micro())
                .or_else(|| self.last_pack_micro()),
        };
        apply_terms(&mut facts, &terms, past_lead_days(&self.lines));
        // What comes back after its use is not used up by a cast, so that no plan tells of its use.
        if !durable {
            tell_unbooked(&mut facts, &self.planned, &self.refused);
        }
        facts
    }

    /// What is promised of a thing that comes back, which its facts leave out, in millionths of the unit.
    #[must_use]
    pub fn lent_micro(&self) -> i64 {
        match self.entry.body.is_durable() {
            true => sum(self.packs.iter().map(|pack| pack.reserved.micro())),
            false => 0,
        }
    }

    fn bookings(&self, durable: bool) -> Vec<Booking> {
        let mut promised = self.promised.clone();
        let mut days: BTreeMap<NaiveDate, i64> = BTreeMap::new();
        for need in &self.needs {
            let mut lacking = need.quantity_micro;
            if durable && let Some(held) = promised.get_mut(&need.cast_id) {
                let met = lacking.min(*held);
                *held -= met;
                lacking -= met;
            }
            let day = days.entry(need.on).or_default();
            *day = day.saturating_add(lacking);
        }
        let booked = days.into_iter().filter(|(_, quantity)| *quantity > 0);
        booked
            .map(|(on, quantity_micro)| Booking { on, quantity_micro })
            .collect()
    }

    fn arrivals(&self, terms: &ReorderTerms) -> Vec<Arrival> {
        let usual_days = usual_lead_time_days(&self.lines, terms);
        let lines = self.lines.iter().filter_map(|line| {
            let content = self.contents.get(&line.item_id).copied();
            Some(arrival(
                line.due_on(usual_days)?,
                line.quantity_micro(content),
                terms,
            ))
        });
        lines.collect()
    }

    /// The pack of the latest order that says one.
    fn last_pack_micro(&self) -> Option<i64> {
        let own = self
            .lines
            .iter()
            .rev()
            .filter(|line| line.item_id == self.entry.id);
        own.filter_map(|line| line.pack_quantity_micro).next()
    }
}

/// The lead time in days that `lines` and `terms` make one expect.
pub(super) fn usual_lead_time_days(lines: &[OrderLine], terms: &ReorderTerms) -> f64 {
    let stated = terms.lead_time_days.map(f64::from);
    // A catalogue's lead time is a whole number of 0 or more, which is never refused.
    lead_time(&past_lead_days(lines), stated).map_or(LEAD_TIME_DAYS_ASSUMED, |time| time.mean_days)
}

/// What is to come on a day, usable for the stated shelf life.
pub(super) fn arrival(on: NaiveDate, quantity_micro: i64, terms: &ReorderTerms) -> Arrival {
    let life = terms.shelf_life_days.map(u64::from);
    Arrival {
        on,
        quantity_micro,
        expires_on: life.and_then(|days| on.checked_add_days(Days::new(days))),
    }
}

/// Enters the terms of ordering into facts.
pub(super) fn apply_terms(
    facts: &mut ReorderFacts,
    terms: &ReorderTerms,
    past_lead_days: Vec<u32>,
) {
    facts.past_lead_days = past_lead_days;
    facts.catalogue_lead_days = terms.lead_time_days.map(f64::from);
    facts.service_level_micro = terms.service_level.micro();
    facts.service_measure = terms.service_measure;
    facts.review_days = held_u16(terms.review_days);
    facts.approval_days = held_u16(terms.approval_days);
    facts.order_cost_micro = terms.order_cost.map(|cost| cost.micro());
    facts.holding_rate_micro = terms.holding_rate.map(|rate| rate.micro());
    facts.min_packs = terms.min_packs;
    facts.shelf_life_days = terms.shelf_life_days.map(held_u16);
}

/// Enters what of the demand was not booked in time for an order to come before.
pub(super) fn tell_unbooked(
    facts: &mut ReorderFacts,
    planned: &[PlannedDemand],
    refused: &[RefusedDemand],
) {
    let stated = facts.catalogue_lead_days;
    let Ok(lead_time) = lead_time(&facts.past_lead_days, stated) else {
        // A lead time out of range is refused where the advice is made.
        return;
    };
    let level = facts.service_level_micro as f64 / 1e6;
    let days = in_time_days(&lead_time, level, facts.review_days, facts.approval_days);
    // What was refused for a day to come is a wish that may still be met.
    let past: Vec<RefusedDemand> = refused
        .iter()
        .filter(|one| one.on < facts.today)
        .copied()
        .collect();
    let found = unbooked(&facts.daily, planned, &past, days);
    facts.unbooked_daily = Some(found.daily);
    facts.notice_share = found.notice_share;
}

/// The catalogue accepts at most 36 500 days, which fit.
fn held_u16(days: u32) -> u16 {
    u16::try_from(days).unwrap_or(u16::MAX)
}

pub(super) fn sum(quantities: impl Iterator<Item = i64>) -> i64 {
    quantities.fold(0, i64::saturating_add)
}
