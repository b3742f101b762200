//! The lab that orders as it is advised: on each review day the facts are built from what a lab knows then, as the service
//! builds them from its books, and what is due is ordered.

use std::fmt;

use chrono::{Days, NaiveDate};
use heeltap::reorder::assess::assess;
use heeltap::reorder::demand::DailyDemand;
use heeltap::reorder::facts::{ReorderFacts, ServiceMeasure};
use heeltap::reorder::lead_time::lead_time;
use heeltap::reorder::notice::{PlannedDemand, Unbooked, in_time_days, unbooked};
use heeltap::reorder::walk::{Arrival, Booking, UsablePack};

use crate::demand::{Stream, Use, micro};
use crate::kinds::Kind;
use crate::shelf::Shelf;

/// Day 0, a Monday.
const FIRST_DAY: NaiveDate = NaiveDate::from_ymd_opt(2031, 1, 6).expect("a day");
/// Bookings reach less far, and what is to come of an order beyond it is counted as usual demand.
const HORIZON_DAYS: u16 = 120;

/// What the lab was promised.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Promise {
    pub(crate) measure: ServiceMeasure,
    pub(crate) level: f64,
}

impl fmt::Display for Promise {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of = match self.measure {
            ServiceMeasure::Cycle => "of cycles",
            ServiceMeasure::FillRate => "of demand",
        };
        write!(f, "{} {of} promised", self.level)
    }
}

/// A lab with its advice so far.
#[derive(Debug)]
pub(crate) struct Advised<'a> {
    kind: &'a Kind,
    stream: &'a Stream,
    promise: Promise,
}

impl<'a> Advised<'a> {
    pub(crate) fn new(kind: &'a Kind, stream: &'a Stream, promise: Promise) -> Advised<'a> {
        Advised {
            kind,
            stream,
            promise,
        }
    }

    /// How many packs the advice says to order now.
    pub(crate) fn packs(&mut self, shelf: &Shelf) -> u64 {
        let advice = assess(&self.facts(shelf)).expect("advice");
        if advice.due {
            advice.order_quantity.packs
        } else {
            0
        }
    }

    fn facts(&self, shelf: &Shelf) -> ReorderFacts {
        let kind = self.kind;
        let (past, to_come) = self.known(shelf.day);
        let bookings: Vec<Booking> = to_come
            .filter(|one| one.planned_micro > 0)
            .map(|one| Booking {
                on: date(one.on),
                quantity_micro: one.planned_micro,
            })
            .collect();
        let unbooked = self.unbooked(past, shelf);
        let on_hand_micro = shelf.on_hand_micro();
        let booked_micro: i64 = bookings.iter().map(|booking| booking.quantity_micro).sum();
        let mut facts = ReorderFacts::new(kind.name, "g", date(shelf.day));
        facts.daily = daily(&shelf.used_micro);
        facts.first_day = Some(date(0));
        facts.unbooked_daily = Some(unbooked.daily);
        facts.notice_share = unbooked.notice_share;
        facts.bookings = bookings;
        facts.packs = packs(shelf);
        facts.on_hand_micro = on_hand_micro;
        facts.reserved_micro = booked_micro.min(on_hand_micro);
        facts.arrivals = self.arrivals(shelf);
        facts.past_lead_days = shelf.lead_days.clone();
        facts.catalogue_lead_days = Some(kind.catalogue_lead_days);
        facts.service_level_micro = (self.promise.level * 1e6).round() as i64;
        facts.service_measure = self.promise.measure;
        facts.review_days = kind.review_days as u16;
        facts.order_cost_micro = Some(micro(kind.order_cost));
        facts.holding_rate_micro = Some(200_000);
        facts.unit_value_micro = Some(micro(kind.unit_value));
        facts.pack_quantity_micro = Some(micro(kind.pack_g));
        facts.shelf_life_days = kind.shelf_life_days;
        facts.horizon_days = HORIZON_DAYS;
        facts
    }

    /// What took place before `day`, and what is booked for it and after by the evening before.
    fn known(&self, day: usize) -> (&'a [Use], impl Iterator<Item = &'a Use>) {
        let uses = &self.stream.uses;
        let (past, ahead) = uses.split_at(uses.partition_point(|one| one.on < day));
        let near = ahead
            .iter()
            .take_while(move |one| one.on < day + usize::from(HORIZON_DAYS));
        (past, near.filter(move |one| one.booked < day as i64))
    }

    /// The past demand that was not booked in time, told apart as the service does. What was refused is part of what was
    /// asked for.
    fn unbooked(&self, past: &[Use], shelf: &Shelf) -> Unbooked {
        let kind = self.kind;
        let usual =
            lead_time(&shelf.lead_days, Some(kind.catalogue_lead_days)).expect("a lead time");
        let days = in_time_days(&usual, self.promise.level, kind.review_days as u16, 0);
        let asked: Vec<DailyDemand> = past
            .iter()
            .map(|one| DailyDemand {
                on: date(one.on),
                quantity_micro: one.taken_micro,
            })
            .collect();
        let planned: Vec<PlannedDemand> = past
            .iter()
            .filter(|one| one.planned_micro > 0)
            .map(|one| PlannedDemand {
                on: date(one.on),
                notice_days: (one.on as i64 - one.booked).clamp(0, 366) as u16,
                quantity_micro: one.planned_micro,
            })
            .collect();
        unbooked(&asked, &planned, &[], days)
    }

    fn arrivals(&self, shelf: &Shelf) -> Vec<Arrival> {
        let kind = self.kind;
        let usual =
            lead_time(&shelf.lead_days, Some(kind.catalogue_lead_days)).expect("a lead time");
        let lines = shelf.orders.iter().map(|order| {
            let on = date(order.placed + usual.mean_days.ceil() as usize);
            Arrival {
                on,
                quantity_micro: order.packs as i64 * micro(kind.pack_g),
                expires_on: kind
                    .shelf_life_days
                    .map(|life| on + Days::new(u64::from(life))),
            }
        });
        lines.collect()
    }
}

fn packs(shelf: &Shelf) -> Vec<UsablePack> {
    let packs = shelf.packs.iter().map(|pack| UsablePack {
        quantity_micro: pack.quantity_micro,
        expires_on: pack.last_day.map(date),
    });
    packs.collect()
}

fn daily(used_micro: &[i64]) -> Vec<DailyDemand> {
    let days = used_micro
        .iter()
        .enumerate()
        .filter(|(_, used)| **used != 0);
    days.map(|(day, &quantity_micro)| DailyDemand {
        on: date(day),
        quantity_micro,
    })
    .collect()
}

fn date(day: usize) -> NaiveDate {
    FIRST_DAY + Days::new(day as u64)
}
