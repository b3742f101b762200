//! A pack as a figure: its vessel with the label below.
//!
//! Invariants: the label's first line leads to the lot; a pack that is held or expired says so. Deliberately absent: which packs
//! are shown, and in what order.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::vessel::{Filling, Vessel, vessel};
use super::words::{amount, day};
use crate::base::Quantity;
use crate::catalogue::MaterialKind;
use crate::stock::shelf::{PackFacts, Unusable};

/// A vessel with its label.
pub(super) struct Figure {
    /// The vessel.
    pub(super) vessel: Vessel,
    /// The label's lines.
    pub(super) label: Vec<String>,
    /// Where the label's first line leads.
    pub(super) address: String,
    /// Why it is out of use, if it is.
    pub(super) barred: Option<String>,
}

/// Draws a pack with its label. `received` is what each pack held when it came; `mark_micro` is what it would still hold at the
/// material's reorder point, where that is in this pack.
pub(super) fn figure(
    kind: MaterialKind,
    unit: &str,
    pack: &PackFacts,
    received: &HashMap<i64, Quantity>,
    mark_micro: Option<i64>,
    today: NaiveDate,
) -> Figure {
    let whole = received
        .get(&pack.pack_id)
        .map_or(pack.on_hand.micro(), |whole| whole.micro())
        .max(pack.on_hand.micro())
        .max(1);
    let share = |micro: i64| micro as f64 / whole as f64;
    let promised_micro = pack.reserved.micro();
    let free_micro = (pack.on_hand.micro() - promised_micro).max(0);
    let filling = Filling {
        free: share(free_micro),
        promised: share(promised_micro),
        mark: mark_micro.map(share),
    };
    let words = format!(
        "{}, lot {}: {} of {}, {} promised",
        kind_words(kind),
        pack.lot_code,
        amount(pack.on_hand, unit),
        amount(Quantity::from_micro(whole), unit),
        amount(pack.reserved, unit)
    );
    let barred = pack.barred(today);
    let mut label = vec![pack.lot_code.clone(), amount(pack.on_hand, unit)];
    if barred.is_none() {
        let opened = pack.opened_on;
        label.extend(opened.map(|opened| format!("opened {}", day(opened, today))));
        let last = pack.effective_expiry();
        label.extend(last.map(|last| format!("use by {}", day(last, today))));
    }
    Figure {
        vessel: vessel(kind, filling, whole as f64 / 1e6, words),
        label,
        address: format!("/lots/{}", pack.lot_id),
        barred: barred.map(|why| match why {
            Unusable::ExpiresBefore(last) => format!("was good until {}", day(last, today)),
            other => other.to_string(),
        }),
    }
}

fn kind_words(kind: MaterialKind) -> &'static str {
    match kind {
        MaterialKind::ElastomerBase | MaterialKind::CuringAgent => "bottle",
        MaterialKind::ReleaseAgent => "vial",
        MaterialKind::Container => "stack of trays",
        MaterialKind::MixingCup => "stack of cups",
        MaterialKind::Tape => "roll",
        MaterialKind::Sundry => "stack",
    }
}
