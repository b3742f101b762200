//! Where a lot went, in words: the casts that drew on it with their chips, and what waits for it.
//!
//! Invariant: the figures are those of the trace. Deliberately absent: who paid for which chip (the trace itself has it).

use chrono::NaiveDate;

use crate::base::Quantity;
use crate::casting::trace::view::{LotTrace, OutstandingView, TracedCast};
use crate::pages::words::{amount, day};

/// The most casts that are shown, the latest; the rest is counted.
const CASTS_MAX: usize = 30;

/// A trace as it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct TraceShown {
    /// All casts together, in a sentence.
    pub(super) total: String,
    /// The casts, the latest first.
    pub(super) casts: Vec<CastLine>,
    /// How many earlier casts are not shown.
    pub(super) more: usize,
    /// What waits for it, sentence by sentence.
    pub(super) waiting: Vec<String>,
}

/// A cast that drew on the lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CastLine {
    /// Its code.
    pub(super) cast: String,
    /// When it was poured.
    pub(super) poured: String,
    /// What it took, or that the lot reached it by a coat.
    pub(super) took: String,
    /// Its chips, or that they are still to come.
    pub(super) chips: String,
}

/// Puts a trace into words.
pub(super) fn trace_shown(trace: &LotTrace, unit: &str, today: NaiveDate) -> TraceShown {
    let casts = trace.casts.iter().rev().take(CASTS_MAX);
    let waiting = trace.outstanding.iter();
    TraceShown {
        total: total(trace),
        casts: casts.map(|cast| cast_line(cast, unit, today)).collect(),
        more: trace.casts.len().saturating_sub(CASTS_MAX),
        waiting: waiting.map(|one| waits(one, unit, today)).collect(),
    }
}

fn total(trace: &LotTrace) -> String {
    let total = &trace.total;
    let drew = match total.casts {
        0 => return "No cast has drawn on it.".to_owned(),
        1 => "One cast drew on it".to_owned(),
        casts => format!("{casts} casts drew on it"),
    };
    let rest = match total.not_demolded {
        0 => String::new(),
        1 => "; one is not demoulded yet".to_owned(),
        casts => format!("; {casts} are not demoulded yet"),
    };
    let (good, rejected) = (total.good_chips, total.rejected_chips);
    format!("{drew}: {good} good chips, {rejected} rejected{rest}.")
}

fn cast_line(cast: &TracedCast, unit: &str, today: NaiveDate) -> CastLine {
    let taken: i64 = cast.uses.iter().map(|one| one.quantity.micro()).sum();
    CastLine {
        cast: cast.cast.clone(),
        poured: cast.poured_on.map_or_else(String::new, |on| day(on, today)),
        took: match (taken, cast.through_treatments.is_empty()) {
            (0, false) => "stood on a coat of it".to_owned(),
            (taken, _) => amount(Quantity::from_micro(taken), unit),
        },
        chips: match (cast.good_chips, cast.rejected_chips) {
            (Some(good), Some(rejected)) if rejected > 0 => {
                format!("{good} good, {rejected} rejected")
            }
            (Some(good), _) => format!("{good} good"),
            (None, _) => "not demoulded yet".to_owned(),
        },
    }
}

fn waits(one: &OutstandingView, unit: &str, today: NaiveDate) -> String {
    let (cast, on) = (&one.cast, day(one.cast_on, today));
    let quantity = amount(one.quantity, unit);
    match one.state.as_str() {
        "booked" => format!("{cast} of {on} waits for {quantity}."),
        _ => format!("{cast} of {on} has {quantity} in use until it is demoulded."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Money;
    use crate::casting::trace::view::{TraceTotal, UseView};

    fn today() -> NaiveDate {
        "2026-03-02".parse().unwrap()
    }

    fn cast(uses: &[&str], good: Option<i64>) -> TracedCast {
        let uses = uses.iter().map(|quantity| UseView {
            pack_id: None,
            purpose: "base".into(),
            batch_no: None,
            quantity: Quantity::parse(quantity).unwrap(),
            value: Money::ZERO,
        });
        TracedCast {
            cast: "C-00001".into(),
            state: "poured".into(),
            recipe: "chip".into(),
            mold: "mold".into(),
            poured_on: Some(today()),
            demolded_on: None,
            uses: uses.collect(),
            through_treatments: vec![4],
            good_chips: good,
            rejected_chips: good.map(|_| 1),
            rejects: Vec::new(),
            charges: Vec::new(),
        }
    }

    #[test]
    fn a_cast_says_what_it_took_and_what_came_of_it() {
        let line = cast_line(&cast(&["45.5", "45.5"], Some(7)), "g", today());
        assert_eq!(
            (line.took.as_str(), line.chips.as_str()),
            ("91 g", "7 good, 1 rejected")
        );
        let line = cast_line(&cast(&[], None), "each", today());
        let words = (line.took.as_str(), line.chips.as_str());
        assert_eq!(words, ("stood on a coat of it", "not demoulded yet"));
        assert_eq!(line.poured, "Mon 2 Mar");
    }

    #[test]
    fn what_waits_is_told_from_what_is_in_use() {
        let one = |state: &str| OutstandingView {
            cast: "C-00002".into(),
            state: state.into(),
            cast_on: today(),
            pack_id: 1,
            quantity: Quantity::from_int(2),
        };
        let said = waits(&one("booked"), "each", today());
        assert_eq!(said, "C-00002 of Mon 2 Mar waits for 2.");
        let said = waits(&one("poured"), "each", today());
        assert_eq!(
            said,
            "C-00002 of Mon 2 Mar has 2 in use until it is demoulded."
        );
    }

    #[test]
    fn the_total_says_what_is_still_to_come() {
        let of = |casts: usize, not_demolded: usize| {
            let total = TraceTotal {
                casts,
                not_demolded,
                good_chips: 13,
                rejected_chips: 3,
            };
            let trace = LotTrace {
                lot: crate::stock::trace::LotOrigin {
                    id: 1,
                    material: "base".into(),
                    lot: "B1".into(),
                    kit_lot: None,
                    supplier: None,
                    order: None,
                    order_line: None,
                    received_on: today(),
                    expires_on: None,
                    funded_by: None,
                },
                pack_id: None,
                casts: Vec::new(),
                treatments: Vec::new(),
                outstanding: Vec::new(),
                losses: Vec::new(),
                total,
                grants: Vec::new(),
            };
            super::total(&trace)
        };
        assert_eq!(of(0, 0), "No cast has drawn on it.");
        assert_eq!(of(1, 0), "One cast drew on it: 13 good chips, 3 rejected.");
        assert_eq!(
            of(3, 1),
            "3 casts drew on it: 13 good chips, 3 rejected; one is not demoulded yet."
        );
    }
}
