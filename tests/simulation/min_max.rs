//! The rule that the advice is measured against: order up to a fixed stock when stock and orders are at or below a fixed
//! one. It knows no bookings.

use heeltap::reorder::facts::ServiceMeasure;

use crate::demand::{DAYS, Stream, micro};
use crate::figures::{over, reached};
use crate::kinds::Kind;
use crate::shelf::{Outcome, Shelf, replay};

/// The highest minimum that is tried, in days of the mean demand.
const MIN_DAYS_MAX: f64 = 400.0;
const HALVINGS: usize = 11;

/// The rule, in grams.
#[derive(Debug, Clone, Copy)]
struct MinMax {
    min_g: f64,
    max_g: f64,
}

impl MinMax {
    fn packs(&self, kind: &Kind, shelf: &Shelf) -> u64 {
        let ordered: u64 = shelf.orders.iter().map(|order| order.packs).sum();
        let position = shelf.on_hand_micro() as f64 / 1e6 + ordered as f64 * kind.pack_g;
        if position > self.min_g {
            return 0;
        }
        ((self.max_g - position) / kind.pack_g).round().max(1.0) as u64
    }

    fn outcomes(&self, kind: &Kind, streams: &[Stream]) -> Vec<Outcome> {
        let each = streams.iter();
        each.map(|stream| replay(kind, stream, |shelf| self.packs(kind, shelf)))
            .collect()
    }
}

/// What the best rule brings: that of the lowest minimum with at least the service of `advice` over the same `streams`. Its
/// maximum is so far above that its mean order is about the advice's, which is not the distance itself, since stock is below
/// the minimum when it is noticed.
pub(crate) fn tuned(
    kind: &Kind,
    streams: &[Stream],
    advice: &[Outcome],
    measure: ServiceMeasure,
) -> Vec<Outcome> {
    let order_g =
        |outcomes: &[Outcome]| over(outcomes, |one| one.packs_per_order).mean * kind.pack_g;
    let wanted_g = order_g(advice);
    let service = reached(advice, measure).mean;
    let first = lowest(kind, streams, wanted_g, measure, service);
    // Held to three quarters: packs are whole and stock expires, so that the order is not in proportion to it.
    let distance_g = (2.0 * wanted_g - order_g(&first)).max(0.75 * wanted_g);
    lowest(kind, streams, distance_g, measure, service)
}

fn lowest(
    kind: &Kind,
    streams: &[Stream],
    distance_g: f64,
    measure: ServiceMeasure,
    service: f64,
) -> Vec<Outcome> {
    let asked: i64 = streams.iter().flat_map(|stream| &stream.asked_micro).sum();
    let daily_g = asked as f64 / micro(1.0) as f64 / (streams.len() * DAYS) as f64;
    let (mut low, mut high) = (0.0, MIN_DAYS_MAX * daily_g);
    let mut best = None;
    for _ in 0..HALVINGS {
        let min_g = 0.5 * (low + high);
        let rule = MinMax {
            min_g,
            max_g: min_g + distance_g,
        };
        let outcomes = rule.outcomes(kind, streams);
        if reached(&outcomes, measure).mean >= service {
            high = min_g;
            best = Some(outcomes);
        } else {
            low = min_g;
        }
    }
    best.expect("a minimum of many days gives any service")
}
