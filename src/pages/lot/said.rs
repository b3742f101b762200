//! What was done, in a sentence, after a form was sent.
//!
//! Invariant: the address names a movement or a deed, never words; the sentence is made of what the books say now, and there is
//! none where they do not bear it out.

use chrono::NaiveDate;

use super::deed::Deed;
use crate::base::Quantity;
use crate::pages::words::day;
use crate::stock::views::{LotView, MovementView, PackView};

/// What an address says was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Done {
    /// A movement was left; a weighing says what the balance showed.
    Moved {
        /// The movement.
        id: i64,
        /// What the balance showed, in grams.
        gross: Option<Quantity>,
    },
    /// Something was done that leaves no movement.
    Noted(Deed),
}

impl Done {
    /// What the values of an address say.
    pub(super) fn from_address(done: Option<&str>, weighed: Option<&str>) -> Option<Self> {
        let done = done?;
        if let Some(deed) = Deed::from_word(done) {
            return deed.movement().is_none().then_some(Self::Noted(deed));
        }
        Some(Self::Moved {
            id: done.parse().ok()?,
            gross: weighed.and_then(|gross| Quantity::parse(gross).ok()),
        })
    }
}

/// The sentence on what was done to a whole lot, if the books bear it out; `done` is the word of the deed after `lot-`.
pub(super) fn said_of_whole(done: &str, lot: &LotView) -> Option<String> {
    let mut held = lot.packs.iter().map(|pack| pack.held_reason.as_deref());
    match Deed::from_word(done.strip_prefix("lot-")?)? {
        Deed::Hold => {
            let filled = lot
                .packs
                .iter()
                .filter(|pack| pack.on_hand > Quantity::ZERO);
            let reasons: Option<Vec<&str>> =
                filled.map(|pack| pack.held_reason.as_deref()).collect();
            let reason = *reasons?.first()?;
            Some(format!("The whole lot is held back: {reason}."))
        }
        Deed::Release => held
            .all(|reason| reason.is_none())
            .then(|| "Nothing of the lot is held back any longer.".to_owned()),
        _ => None,
    }
}

/// The sentence, if the books bear it out.
pub(super) fn said(
    done: Done,
    pack: &PackView,
    movements: &[MovementView],
    unit: &str,
    today: NaiveDate,
) -> Option<String> {
    let no = pack.no;
    match done {
        Done::Moved { id, gross } => {
            let moved = movements.iter().find(|moved| moved.id == id)?;
            (moved.pack_id == Some(pack.id)).then_some(())?;
            moved_words(moved, pack, gross, unit)
        }
        Done::Noted(Deed::Open) => {
            let opened = pack.opened_on?;
            Some(format!("Pack {no} is open since {}.", day(opened, today)))
        }
        Done::Noted(Deed::Hold) => {
            let reason = pack.held_reason.as_ref()?;
            Some(format!("Pack {no} is held back: {reason}."))
        }
        Done::Noted(Deed::Release) => {
            let free = pack.held_reason.is_none();
            free.then(|| format!("Pack {no} is held back no longer."))
        }
        Done::Noted(_) => None,
    }
}

fn moved_words(
    moved: &MovementView,
    pack: &PackView,
    gross: Option<Quantity>,
    unit: &str,
) -> Option<String> {
    let no = pack.no;
    let size = exact(Quantity::from_micro(moved.quantity.micro().abs()), unit);
    match moved.kind.as_str() {
        "count" => {
            let books = match moved.quantity.micro() {
                0 => "as the books had it".to_owned(),
                less if less < 0 => format!("{size} less than the books had"),
                _ => format!("{size} more than the books had"),
            };
            Some(match weighing(pack, gross) {
                Some(sum) => format!("Pack {no} was weighed: {sum}, {books}."),
                None => format!("Pack {no} was counted: {books}."),
            })
        }
        "spill" => Some(format!("{size} spilled from pack {no} are noted.")),
        "write_off" => Some(format!("{size} of pack {no} are written off.")),
        _ => None,
    }
}

/// The sum of a weighing, where it gives what the pack holds.
fn weighing(pack: &PackView, gross: Option<Quantity>) -> Option<String> {
    let (gross, tare) = gross.zip(pack.tare_g)?;
    let net = gross.checked_sub(tare).ok()?;
    let sum = format!("{gross} g gross \u{2212} {tare} g tare = {net} g net");
    (net == pack.on_hand).then_some(sum)
}

/// A quantity with all its digits, as it was typed.
fn exact(quantity: Quantity, unit: &str) -> String {
    match unit {
        "each" => quantity.to_string(),
        unit => format!("{quantity} {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Money;
    use crate::stock::views::LotState;

    fn of(text: &str) -> Quantity {
        Quantity::parse(text).unwrap()
    }

    fn pack() -> PackView {
        PackView {
            id: 7,
            no: 2,
            on_hand: of("950.25"),
            reserved: Quantity::ZERO,
            opened_on: None,
            held_reason: None,
            counted_on: None,
            state: LotState::Usable,
            received: of("1000"),
            tare_g: Some(of("50")),
        }
    }

    fn moved(kind: &str, quantity: &str) -> MovementView {
        MovementView {
            id: 12,
            seq: 3,
            pack_id: Some(7),
            kind: kind.into(),
            quantity: of(quantity),
            value: Money::ZERO,
            reason: String::new(),
            actor: "bench".into(),
            cast_id: None,
            batch_no: None,
            purpose: None,
            reverses: None,
            effective_on: "2026-03-02".parse().unwrap(),
            recorded_at: chrono::DateTime::UNIX_EPOCH,
            hash: String::new(),
        }
    }

    #[track_caller]
    fn check(done: &str, weighed: Option<&str>, row: MovementView, expected: Option<&str>) {
        let done = Done::from_address(Some(done), weighed);
        let today = "2026-03-02".parse().unwrap();
        let words = done.and_then(|done| said(done, &pack(), &[row], "g", today));
        assert_eq!(words.as_deref(), expected);
    }

    #[test]
    fn a_weighing_shows_its_sum_when_the_books_bear_it_out() {
        let counted = || moved("count", "-49.75");
        let sum = "Pack 2 was weighed: 1000.25 g gross \u{2212} 50 g tare = 950.25 g net, 49.75 g less than the books had.";
        check("12", Some("1000.25"), counted(), Some(sum));
        let plain = "Pack 2 was counted: 49.75 g less than the books had.";
        check("12", Some("999"), counted(), Some(plain));
        check("12", Some("<b>"), counted(), Some(plain));
        let same = "Pack 2 was counted: as the books had it.";
        check("12", None, moved("count", "0"), Some(same));
    }

    #[test]
    fn the_address_brings_no_words_of_its_own() {
        check("13", None, moved("spill", "-1"), None);
        check("ruined", None, moved("spill", "-1"), None);
        check("hold", None, moved("spill", "-1"), None);
        check("open", None, moved("spill", "-1"), None);
        check("count", None, moved("spill", "-1"), None);
        check("12", None, moved("receipt", "1000"), None);
        let other = MovementView {
            pack_id: Some(8),
            ..moved("spill", "-1")
        };
        check("12", None, other, None);
        check(
            "12",
            None,
            moved("spill", "-1"),
            Some("1 g spilled from pack 2 are noted."),
        );
        check(
            "release",
            None,
            moved("spill", "-1"),
            Some("Pack 2 is held back no longer."),
        );
    }
}
