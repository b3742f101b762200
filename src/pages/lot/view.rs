//! What the page of a lot shows, in words.
//!
//! Invariants: every figure is that of the lot, its packs or its movements; packs that hold something come first, and those that
//! are spent are counted. Deliberately absent: judgements of its own.

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDate;

use super::trace::{TraceShown, trace_shown};
use crate::base::{Currency, Quantity};
use crate::casting::trace::view::LotTrace;
use crate::catalogue::{Entry, MaterialBody, MaterialKind};
use crate::pages::figure::{Figure, figure};
use crate::pages::words::{amount, day};
use crate::stock::ledger::MovementKind;
use crate::stock::shelf::PackFacts;
use crate::stock::views::{LotState, LotView, MovementView, PackView};

/// The most packs that are drawn and listed; the rest is counted.
const PACKS_MAX: usize = 40;

/// What the page is made of.
pub(super) struct Facts {
    /// The lot.
    pub(super) lot: LotView,
    /// Its material.
    pub(super) material: Entry<MaterialBody>,
    /// Its packs that hold something.
    pub(super) in_stock: Vec<PackFacts>,
    /// The supplier's name.
    pub(super) supplier: Option<String>,
    /// The name of the grant that paid for it.
    pub(super) grant: Option<String>,
    /// Some of its movements, the latest first.
    pub(super) movements: Vec<MovementView>,
    /// Where the movements before those begin, if there are any.
    pub(super) older: Option<i64>,
    /// The codes of the casts that those movements belong to.
    pub(super) casts: HashMap<i64, String>,
    /// Where it went.
    pub(super) trace: LotTrace,
}

/// The page.
pub(super) struct LotShown {
    /// The lot's id.
    pub(super) id: i64,
    /// The supplier's lot code.
    pub(super) code: String,
    /// The material's name.
    pub(super) material: String,
    /// Its kind's word, which chooses the hue.
    pub(super) kind: &'static str,
    /// How it stands, and why.
    pub(super) state: String,
    /// Whether anything of it may be used.
    pub(super) usable: bool,
    /// The rest that is known of it, by name.
    pub(super) facts: Vec<(&'static str, String)>,
    /// The packs as vessels.
    pub(super) figures: Vec<Figure>,
    /// The packs in words.
    pub(super) packs: Vec<PackShown>,
    /// The packs that are not shown, in words.
    pub(super) not_shown: Option<String>,
    /// Its movements, the latest first.
    pub(super) history: Vec<Happened>,
    /// Where the movements before those begin, if there are any.
    pub(super) older: Option<i64>,
    /// How many movements it has.
    pub(super) movements: i64,
    /// Where it went.
    pub(super) trace: TraceShown,
}

/// A pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct PackShown {
    /// Its id.
    pub(super) id: i64,
    /// Its number in the lot.
    pub(super) no: i32,
    /// What it holds.
    pub(super) holds: String,
    /// What of it is promised.
    pub(super) promised: String,
    /// When it was opened.
    pub(super) opened: String,
    /// How long it keeps.
    pub(super) keeps: String,
    /// Why it is held.
    pub(super) held: String,
    /// When it was counted.
    pub(super) counted: String,
}

/// A movement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Happened {
    /// The day at the bench.
    pub(super) day: String,
    /// What it stands for.
    pub(super) what: &'static str,
    /// The pack's number.
    pub(super) pack: String,
    /// The change.
    pub(super) change: String,
    /// Why, and for which cast.
    pub(super) why: String,
    /// Who.
    pub(super) who: String,
}

/// Puts a lot into words.
pub(super) fn lot_shown(facts: Facts, currency: Currency, today: NaiveDate) -> LotShown {
    let (lot, body) = (&facts.lot, &facts.material.body);
    let unit = body.unit.as_str();
    let received: HashMap<i64, Quantity> = lot
        .packs
        .iter()
        .map(|pack| (pack.id, pack.received))
        .collect();
    let standing: HashMap<i64, &PackFacts> = facts
        .in_stock
        .iter()
        .map(|pack| (pack.pack_id, pack))
        .collect();
    let filled: Vec<(&PackView, &PackFacts)> = lot
        .packs
        .iter()
        .filter_map(|pack| Some((pack, *standing.get(&pack.id)?)))
        .collect();
    let shown = filled.iter().take(PACKS_MAX);
    let figures = shown
        .clone()
        .map(|(_, pack)| pack_figure(body.kind, unit, pack, &received, today));
    let numbers: HashMap<i64, i32> = lot.packs.iter().map(|pack| (pack.id, pack.no)).collect();
    let happened = |moved| happened(moved, &numbers, &facts.casts, (unit, currency), today);
    LotShown {
        id: lot.id,
        code: lot.lot.clone(),
        material: facts.material.name.clone(),
        kind: body.kind.as_str(),
        state: state(lot, &facts.in_stock, today),
        usable: lot.state == LotState::Usable,
        facts: known(&facts, currency, today),
        figures: figures.collect(),
        packs: shown
            .map(|(pack, facts)| pack_shown(pack, facts, unit, today))
            .collect(),
        not_shown: not_shown(filled.len(), lot.packs.len()),
        history: facts.movements.iter().map(happened).collect(),
        older: facts.older,
        movements: lot.movements,
        trace: trace_shown(&facts.trace, unit, today),
    }
}

/// A pack's vessel, named by its number and leading to what can be done to it.
fn pack_figure(
    kind: MaterialKind,
    unit: &str,
    pack: &PackFacts,
    received: &HashMap<i64, Quantity>,
    today: NaiveDate,
) -> Figure {
    let mut drawn = figure(kind, unit, pack, received, None, today);
    drawn.label[0] = format!("Pack {}", pack.no);
    drawn.address = in_hand(pack.lot_id, pack.pack_id);
    drawn
}

/// Where a pack of a lot is in hand.
pub(super) fn in_hand(lot_id: i64, pack_id: i64) -> String {
    format!("/lots/{lot_id}?pack={pack_id}")
}

fn state(lot: &LotView, in_stock: &[PackFacts], today: NaiveDate) -> String {
    match lot.state {
        LotState::Usable => "It may be used.".to_owned(),
        LotState::Spent => "Nothing of it is left.".to_owned(),
        LotState::Held => {
            let reasons: BTreeSet<&str> = in_stock
                .iter()
                .filter_map(|pack| pack.held_reason.as_deref())
                .collect();
            let reasons: Vec<&str> = reasons.into_iter().collect();
            format!("It is held back: {}.", reasons.join("; "))
        }
        LotState::Expired => match in_stock
            .iter()
            .filter_map(PackFacts::effective_expiry)
            .max()
        {
            Some(last) => format!("It was good until {}.", day(last, today)),
            None => "It has expired.".to_owned(),
        },
    }
}

fn known(facts: &Facts, currency: Currency, today: NaiveDate) -> Vec<(&'static str, String)> {
    let lot = &facts.lot;
    let unit = facts.material.body.unit.as_str();
    let money = |value| format!("{} {currency}", currency.format(value));
    let holds = match lot.reserved.micro() {
        0 => amount(lot.on_hand, unit),
        _ => format!(
            "{}, of it {} promised",
            amount(lot.on_hand, unit),
            amount(lot.reserved, unit)
        ),
    };
    let last = lot.expires_on.map(|last| day(last, today));
    let rows = [
        ("holds", Some(holds)),
        ("received", Some(day(lot.received_on, today))),
        (
            "last good day",
            Some(last.unwrap_or_else(|| "none: it keeps".to_owned())),
        ),
        (
            "first opened",
            lot.opened_on.map(|opened| day(opened, today)),
        ),
        ("kit lot", lot.kit_lot.clone()),
        ("supplier", facts.supplier.clone()),
        (
            "paid by",
            Some(
                facts
                    .grant
                    .clone()
                    .unwrap_or_else(|| "nobody in particular: common stock".to_owned()),
            ),
        ),
        ("landed cost", Some(money(lot.landed_cost))),
        ("value of the rest", Some(money(lot.remaining_value))),
    ];
    rows.into_iter()
        .filter_map(|(name, value)| Some((name, value?)))
        .collect()
}

fn pack_shown(pack: &PackView, facts: &PackFacts, unit: &str, today: NaiveDate) -> PackShown {
    let dated =
        |on: Option<NaiveDate>, none: &str| on.map_or_else(|| none.to_owned(), |on| day(on, today));
    let none = "\u{2013}".to_owned();
    PackShown {
        id: pack.id,
        no: pack.no,
        holds: amount(pack.on_hand, unit),
        promised: match pack.reserved.micro() {
            0 => none.clone(),
            _ => amount(pack.reserved, unit),
        },
        opened: dated(pack.opened_on, "not opened"),
        keeps: dated(facts.effective_expiry(), "it keeps"),
        held: pack.held_reason.clone().unwrap_or(none),
        counted: dated(pack.counted_on, "never"),
    }
}

fn not_shown(filled: usize, all: usize) -> Option<String> {
    let (more, spent) = (filled.saturating_sub(PACKS_MAX), all - filled);
    let spent_words = match spent {
        0 => None,
        1 => Some("one pack is spent".to_owned()),
        spent => Some(format!("{spent} packs are spent")),
    };
    let more_words = (more > 0).then(|| format!("{more} more packs hold something"));
    let words: Vec<String> = more_words.into_iter().chain(spent_words).collect();
    (!words.is_empty()).then(|| words.join("; "))
}

fn happened(
    moved: &MovementView,
    numbers: &HashMap<i64, i32>,
    casts: &HashMap<i64, String>,
    (unit, currency): (&str, Currency),
    today: NaiveDate,
) -> Happened {
    let kind = MovementKind::from_word(&moved.kind);
    let pack = moved.pack_id.and_then(|id| numbers.get(&id));
    Happened {
        day: day(moved.effective_on, today),
        what: what(kind, moved),
        pack: pack.map_or_else(String::new, ToString::to_string),
        change: change(kind, moved, unit, currency),
        why: why(moved, casts),
        who: moved.actor.clone(),
    }
}

fn what(kind: Option<MovementKind>, moved: &MovementView) -> &'static str {
    let evens_out = moved
        .purpose
        .as_deref()
        .is_some_and(|of| of.starts_with("offset:"));
    match kind {
        Some(MovementKind::Receipt) => "received",
        Some(MovementKind::Consumption) => "used",
        Some(MovementKind::Residue) => "left in the mixing cup",
        Some(MovementKind::Wear) => "worn",
        Some(MovementKind::Spill) => "spilled",
        Some(MovementKind::Count) if evens_out => "evened out with a later count",
        Some(MovementKind::Count) => "counted",
        Some(MovementKind::WriteOff) => "written off",
        Some(MovementKind::Revaluation) => "price corrected",
        Some(MovementKind::Reversal) => "taken back",
        None => "moved",
    }
}

fn change(
    kind: Option<MovementKind>,
    moved: &MovementView,
    unit: &str,
    currency: Currency,
) -> String {
    if matches!(kind, Some(MovementKind::Revaluation | MovementKind::Wear)) {
        return signed(
            moved.value.micro(),
            format!("{} {currency}", currency.format(moved.value)),
        );
    }
    match moved.quantity.micro() {
        0 => "no difference".to_owned(),
        micro => signed(micro, amount(moved.quantity, unit)),
    }
}

/// A change with its sign, which only a loss has of itself.
fn signed(micro: i64, words: String) -> String {
    match micro {
        more if more > 0 => format!("+{words}"),
        _ => words.replacen('-', "\u{2212}", 1),
    }
}

fn why(moved: &MovementView, casts: &HashMap<i64, String>) -> String {
    let cast = moved.cast_id.and_then(|id| casts.get(&id));
    let cast = cast.map(|cast| match moved.batch_no {
        Some(batch) => format!("{cast}, batch {batch}"),
        None => cast.clone(),
    });
    let reason = (!moved.reason.is_empty()).then(|| moved.reason.clone());
    let words: Vec<String> = cast.into_iter().chain(reason).collect();
    words.join(": ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Money;

    fn moved(kind: &str, quantity: &str, value: &str) -> MovementView {
        MovementView {
            id: 12,
            seq: 3,
            pack_id: Some(7),
            kind: kind.into(),
            quantity: Quantity::parse(quantity).unwrap(),
            value: Money::parse(value).unwrap(),
            reason: "monthly".into(),
            actor: "bench".into(),
            cast_id: Some(5),
            batch_no: Some(2),
            purpose: None,
            reverses: None,
            effective_on: "2026-03-02".parse().unwrap(),
            recorded_at: chrono::DateTime::UNIX_EPOCH,
            hash: String::new(),
        }
    }

    #[track_caller]
    fn check(moved: &MovementView, expected: (&str, &str)) {
        let euro = Currency::parse("EUR").unwrap();
        let numbers = [(7, 1)].into();
        let casts = [(5, "C-00005".to_owned())].into();
        let today = "2026-03-02".parse().unwrap();
        let row = happened(moved, &numbers, &casts, ("g", euro), today);
        assert_eq!((row.what, row.change.as_str()), expected);
        let rest = (
            row.day.as_str(),
            row.pack.as_str(),
            row.why.as_str(),
            row.who.as_str(),
        );
        assert_eq!(
            rest,
            ("Mon 2 Mar", "1", "C-00005, batch 2: monthly", "bench")
        );
    }

    #[test]
    fn a_movement_says_what_changed_and_in_which_direction() {
        check(&moved("receipt", "1000", "100"), ("received", "+1,000 g"));
        check(
            &moved("consumption", "-45.5", "-4.55"),
            ("used", "\u{2212}45.5 g"),
        );
        check(&moved("count", "0", "0"), ("counted", "no difference"));
        check(
            &moved("revaluation", "0", "2"),
            ("price corrected", "+2.00 EUR"),
        );
        check(&moved("wear", "0", "-0.5"), ("worn", "\u{2212}0.50 EUR"));
        let offset = MovementView {
            purpose: Some("offset:3".into()),
            ..moved("count", "3", "0")
        };
        check(&offset, ("evened out with a later count", "+3 g"));
        for kind in MovementKind::ALL {
            let row = moved(kind.as_str(), "1", "1");
            assert_ne!(what(Some(kind), &row), "moved");
        }
    }

    #[test]
    fn packs_that_are_not_shown_are_counted() {
        assert_eq!(not_shown(3, 3), None);
        assert_eq!(not_shown(3, 4).as_deref(), Some("one pack is spent"));
        let both = "2 more packs hold something; 8 packs are spent";
        assert_eq!(not_shown(42, 50).as_deref(), Some(both));
    }
}
