//! Why a pack was picked and another passed over, in words for the person at the bench.
//!
//! Invariant: the words follow the order of preference of `picking`, and name the first thing that told two packs apart.
//! Deliberately absent: the choice itself.

use chrono::{Days, NaiveDate};

use super::shelf::PackFacts;

/// What makes one pack come before another; smaller comes first.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Preference {
    /// It belongs to another grant.
    pub(super) foreign: bool,
    /// It holds only a part of what is needed.
    pub(super) part: bool,
    /// It is not open yet.
    pub(super) sealed: bool,
    /// Until when it keeps.
    pub(super) keeps_until: NaiveDate,
    /// When it was received.
    pub(super) received_on: NaiveDate,
    /// The lot code, and the pack's number in the lot.
    pub(super) label: (String, i32, i64),
}

/// Days before its last good day from which a pack is to be used up first (*assumption*).
pub(super) const USE_BY_DAYS: u64 = 30;

/// Why a pack was picked for a cast of `day`, and by when to use what is left of it. `note` says what else spoke for it.
pub(super) fn picked(
    pack: &PackFacts,
    day: NaiveDate,
    own: bool,
    whole: bool,
    note: &str,
) -> String {
    let mut words = vec![match pack.funded_by_id {
        None => "common stock".to_owned(),
        Some(_) if own => "the grant's own stock".to_owned(),
        Some(_) => "another grant's stock, to be cross-charged".to_owned(),
    }];
    if !note.is_empty() {
        words.push(note.to_owned());
    }
    words.push(
        if whole {
            "holds all that is needed"
        } else {
            "holds a part of what is needed"
        }
        .to_owned(),
    );
    if let Some(opened) = pack.opened_on {
        words.push(format!("opened {opened}"));
    }
    words.extend(use_by(pack, day));
    words.join(", ")
}

/// By when a pack is to be used, seen from the day of a cast: one that is opened then keeps only its open life.
fn use_by(pack: &PackFacts, day: NaiveDate) -> Option<String> {
    let opened = PackFacts {
        opened_on: pack.opened_on.or(Some(day)),
        ..pack.clone()
    };
    let last = opened.effective_expiry()?;
    let soon = day.checked_add_days(Days::new(USE_BY_DAYS));
    Some(if Some(last) != pack.effective_expiry() {
        format!("once opened, use by {last}")
    } else if soon.is_some_and(|soon| last <= soon) {
        format!("use by {last}")
    } else {
        format!("keeps until {last}")
    })
}

/// Why a pack that could have served was passed over for the one that was chosen.
pub(super) fn passed_over(pack: &Preference, chosen: &Preference) -> String {
    let chosen_lot = &chosen.label.0;
    if pack.foreign != chosen.foreign {
        return "another grant's stock comes after one's own and common stock".to_owned();
    }
    if pack.part != chosen.part {
        return format!("does not hold all that is needed; lot {chosen_lot} does");
    }
    if pack.sealed != chosen.sealed {
        return format!("not opened yet; lot {chosen_lot} is open");
    }
    if pack.keeps_until != chosen.keeps_until {
        return format!(
            "keeps longer; lot {chosen_lot} goes first, since it keeps until {}",
            chosen.keeps_until
        );
    }
    if pack.received_on != chosen.received_on {
        return format!(
            "came later; lot {chosen_lot} was received on {}",
            chosen.received_on
        );
    }
    "as good as what was picked: taken in the order of lot codes and packs".to_owned()
}

/// Why a pack was passed over although it comes first, for a batch whose parts must be of one kit lot.
pub(super) fn unmatched(pack: &PackFacts) -> String {
    match &pack.kit_lot {
        Some(kit_lot) => format!("kit lot {kit_lot} does not hold enough of both parts"),
        None => "belongs to no kit lot, and both parts of a batch are to be of one".to_owned(),
    }
}
