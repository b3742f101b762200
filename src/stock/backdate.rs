//! Back-dating: what a pack held at the end of any day, what may be taken on an earlier day, and how a change that was
//! recorded after a later count is evened out against that count.
//!
//! Invariants: no day's end falls below 0; what a count found stays true whatever is recorded for days before it, so a
//! change before it meets an opposite count on the day of the count. So far as the count had charged a loss that the
//! change explains, that loss's value is given back; what nothing explains was never paid for and has no value.
//! Deliberately absent: the postings themselves (see `post`).

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::shelf::PackFacts;
use crate::base::{Error, Money, Quantity};

/// A pack's changes by day, in the order of the days, in millionths.
pub type DailyChanges = [(NaiveDate, i64)];

/// A count of a pack that stands: somebody looked, and what was found is true at the end of that day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Anchor {
    /// The movement of the count.
    pub movement_id: i64,
    /// The day of the count.
    pub counted_on: NaiveDate,
    /// What it found beyond the books (negative: what it missed), net of what was evened out against it since.
    pub found: Quantity,
    /// What that was worth; negative when value left the lot.
    pub value: Money,
}

/// What of a gain before a count leaves again at the count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Giving {
    /// What the count had found beyond the books: it came without value and leaves without.
    pub without_value: Quantity,
    /// The rest, which the count would have missed: it leaves at the lot's value.
    pub at_lot_value: Quantity,
}

impl Anchor {
    /// The value that comes back with an issue of `quantity` (0 or more) that explains what the count missed.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn value_explained(&self, quantity: Quantity) -> Result<Money, Error> {
        if self.found >= Quantity::ZERO {
            return Ok(Money::ZERO);
        }
        let missed = self.found.checked_neg()?;
        let charged = self.value.checked_neg()?.max(Money::ZERO);
        if quantity >= missed {
            return Ok(charged);
        }
        Ok(charged.mul_div_half_even(quantity.micro(), missed.micro())?)
    }

    /// How a gain of `quantity` (0 or more) before the count leaves again at the count.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range.
    pub fn giving(&self, quantity: Quantity) -> Result<Giving, Error> {
        let without_value = quantity.min(self.found.max(Quantity::ZERO));
        Ok(Giving {
            without_value,
            at_lot_value: quantity.checked_sub(without_value)?,
        })
    }
}

/// The shelf as it can be taken from on a day of the past.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PastShelf {
    /// The packs, each holding what can be taken from it on that day.
    pub packs: Vec<PackFacts>,
    /// Those that were counted since, by their ids: what is taken from them does not change what they hold now.
    pub evened_out: BTreeSet<i64>,
}

impl PastShelf {
    /// The shelf as it stands: everything taken from it changes what the packs hold.
    #[must_use]
    pub fn present(packs: Vec<PackFacts>) -> Self {
        Self {
            packs,
            evened_out: BTreeSet::new(),
        }
    }

    /// Limits a pack, by its index, to the `most` that can be taken from it on the day. Where a count since evens that out,
    /// it is what the pack had then, and what is promised of it now does not matter.
    pub fn limit(&mut self, index: usize, most: Quantity, evened_out: bool) {
        let pack = &mut self.packs[index];
        if evened_out {
            pack.on_hand = most.max(Quantity::ZERO);
            pack.reserved = Quantity::ZERO;
            self.evened_out.insert(pack.pack_id);
        } else {
            pack.on_hand = pack.on_hand.min(most).max(Quantity::ZERO);
        }
    }
}

/// The first count after a place in the pack's history: a day, and on that day a movement (the last unless said).
#[must_use]
pub fn anchor_after(
    anchors: &[Anchor],
    day: NaiveDate,
    movement_id: Option<i64>,
) -> Option<&Anchor> {
    let place = (day, movement_id.unwrap_or(i64::MAX));
    anchors
        .iter()
        .filter(|anchor| (anchor.counted_on, anchor.movement_id) > place)
        .min_by_key(|anchor| (anchor.counted_on, anchor.movement_id))
}

/// What the pack held at the end of `day`.
///
/// ```
/// use heeltap::stock::backdate::balance_on;
/// let day = |text: &str| text.parse().unwrap();
/// let changes = [(day("2026-01-01"), 10), (day("2026-01-05"), -4)];
/// assert_eq!(balance_on(&changes, day("2026-01-04")), 10);
/// assert_eq!(balance_on(&changes, day("2026-01-05")), 6);
/// ```
#[must_use]
pub fn balance_on(changes: &DailyChanges, day: NaiveDate) -> i64 {
    changes
        .iter()
        .filter(|(on, _)| *on <= day)
        .map(|(_, change)| change)
        .sum()
}

/// The most that can be taken on `day` without a later day's end falling below 0. With `until`, the day from which a
/// count evens out what is taken, only the days before it matter.
///
/// ```
/// use heeltap::stock::backdate::most_on;
/// let day = |text: &str| text.parse().unwrap();
/// let changes = [(day("2026-01-01"), 10), (day("2026-01-05"), -4), (day("2026-01-09"), 20)];
/// assert_eq!(most_on(&changes, day("2026-01-02"), None), 6);
/// assert_eq!(most_on(&changes, day("2026-01-02"), Some(day("2026-01-05"))), 10);
/// assert_eq!(most_on(&changes, day("2026-01-09"), None), 26);
/// ```
#[must_use]
pub fn most_on(changes: &DailyChanges, day: NaiveDate, until: Option<NaiveDate>) -> i64 {
    let mut balance = balance_on(changes, day);
    let mut least = balance;
    for (later, change) in changes {
        if *later <= day || until.is_some_and(|until| *later >= until) {
            continue;
        }
        balance += change;
        least = least.min(balance);
    }
    least
}

#[cfg(test)]
mod tests {
    use super::super::shelf::tests::day;
    use super::*;

    #[track_caller]
    fn check(changes: &[(&str, i64)], on: &str, until: Option<&str>, expected: i64) {
        let changes: Vec<(NaiveDate, i64)> = changes
            .iter()
            .map(|(on, change)| (day(on), *change))
            .collect();
        assert_eq!(most_on(&changes, day(on), until.map(day)), expected);
    }

    #[test]
    fn no_later_day_falls_below_nothing() {
        check(&[], "2026-01-01", None, 0);
        check(&[("2026-01-02", 5)], "2026-01-01", None, 0);
        check(&[("2026-01-01", 5)], "2026-01-01", None, 5);
        let emptied = [("2026-01-01", 5), ("2026-01-03", -5), ("2026-01-04", 9)];
        check(&emptied, "2026-01-02", None, 0);
        check(&emptied, "2026-01-02", Some("2026-01-03"), 5);
        check(&emptied, "2026-01-02", Some("2026-01-04"), 0);
        check(&emptied, "2026-01-05", None, 9);
    }

    fn anchor(movement_id: i64, on: &str, found: i64, value: i64) -> Anchor {
        Anchor {
            movement_id,
            counted_on: day(on),
            found: Quantity::from_micro(found),
            value: Money::from_micro(value),
        }
    }

    #[test]
    fn the_first_count_after_a_place() {
        let anchors = [
            anchor(9, "2026-01-08", 0, 0),
            anchor(4, "2026-01-05", 0, 0),
            anchor(7, "2026-01-05", 0, 0),
        ];
        let found = |on, id| anchor_after(&anchors, day(on), id).map(|anchor| anchor.movement_id);
        assert_eq!(found("2026-01-04", None), Some(4));
        assert_eq!(found("2026-01-05", None), Some(9));
        assert_eq!(found("2026-01-05", Some(3)), Some(4));
        assert_eq!(found("2026-01-05", Some(4)), Some(7));
        assert_eq!(found("2026-01-08", None), None);
    }

    #[test]
    fn a_past_shelf_gives_what_was_there_then() {
        let pack = |id, on_hand, reserved| PackFacts {
            reserved: Quantity::from_int(reserved),
            ..super::super::shelf::tests::pack(id, on_hand)
        };
        let mut past = PastShelf::present(vec![pack(1, 9, 2), pack(2, 0, 0), pack(3, 9, 2)]);
        past.limit(0, Quantity::from_int(4), false);
        past.limit(1, Quantity::from_int(7), true);
        past.limit(2, Quantity::from_int(20), false);
        let holds: Vec<(String, String)> = past
            .packs
            .iter()
            .map(|pack| (pack.on_hand.to_string(), pack.reserved.to_string()))
            .collect();
        let expected = [("4", "2"), ("7", "0"), ("9", "2")];
        assert_eq!(holds, expected.map(|(a, b)| (a.to_owned(), b.to_owned())));
        assert_eq!(past.evened_out, BTreeSet::from([2]));
    }

    #[track_caller]
    fn explained(found: i64, value: i64, quantity: i64, expected: i64) {
        let value = anchor(1, "2026-01-05", found, value)
            .value_explained(Quantity::from_micro(quantity))
            .unwrap();
        assert_eq!(value.micro(), expected);
    }

    #[test]
    fn a_loss_that_is_explained_gives_its_value_back() {
        explained(-8, -16, 5, 10);
        explained(-8, -16, 8, 16);
        explained(-8, -16, 11, 16);
        explained(0, 0, 5, 0);
        explained(3, 0, 5, 0);
        explained(-3, -10, 1, 3);
    }

    #[track_caller]
    fn given(found: i64, quantity: i64, without_value: i64, at_lot_value: i64) {
        let giving = anchor(1, "2026-01-05", found, 0)
            .giving(Quantity::from_micro(quantity))
            .unwrap();
        let expected = Giving {
            without_value: Quantity::from_micro(without_value),
            at_lot_value: Quantity::from_micro(at_lot_value),
        };
        assert_eq!(giving, expected);
    }

    #[test]
    fn a_gain_takes_back_what_was_found_first() {
        given(3, 3, 3, 0);
        given(3, 5, 3, 2);
        given(0, 5, 0, 5);
        given(-2, 5, 0, 5);
    }
}
