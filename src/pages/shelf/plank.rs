//! A plank of the shelf: one material with its words, its vessels and its horizon.
//!
//! Invariants: vessels stand in the order in which packs are used up (open ones first, then by their last good day); held and
//! expired packs come last and say why. Deliberately absent: figures of its own (the advice has them).

use std::collections::HashMap;

use chrono::NaiveDate;

use super::vessel::{Filling, Vessel, vessel};
use crate::base::{Error, Quantity};
use crate::catalogue::MaterialKind;
use crate::pages::horizon::{Horizon, horizon};
use crate::pages::words::{amount, day};
use crate::reorder::judge::Judgement;
use crate::reorder::material_facts::MaterialBooks;
use crate::stock::shelf::{PackFacts, Unusable};

/// The most vessels that are drawn of one material; the rest is told.
const VESSELS_MAX: usize = 12;

/// A plank.
pub(super) struct Plank {
    /// The material's name.
    pub(super) name: String,
    /// Its kind's word, which chooses the hue.
    pub(super) kind: &'static str,
    /// What is free of what there is, such as `642 g` and `of 1,016 g`.
    pub(super) free: String,
    /// All that is usable.
    pub(super) of: String,
    /// What is promised, where anything is.
    pub(super) promised: Option<String>,
    /// What is on order, where anything is.
    pub(super) arrives: Option<String>,
    /// By when to order, where an order is due.
    pub(super) order: Option<String>,
    /// The packs.
    pub(super) figures: Vec<Figure>,
    /// How many packs are not drawn.
    pub(super) more: usize,
    /// The stock to come.
    pub(super) horizon: Horizon,
}

/// A vessel with its label.
pub(super) struct Figure {
    /// The vessel.
    pub(super) vessel: Vessel,
    /// The label's lines.
    pub(super) label: Vec<String>,
    /// Why it is out of use, if it is.
    pub(super) barred: Option<String>,
}

/// The planks of the shelf: kinds in the order of the work, materials by name. What was never in stock and is not needed has
/// none.
///
/// # Errors
/// [`Error::Internal`] when a horizon cannot be drawn.
pub(super) fn planks(
    materials: Vec<(MaterialBooks, Judgement)>,
    received: &HashMap<i64, Quantity>,
    today: NaiveDate,
) -> Result<Vec<Plank>, Error> {
    let mut materials = materials;
    let place = |kind: MaterialKind| MaterialKind::ALL.iter().position(|known| *known == kind);
    materials.sort_by_cached_key(|(books, _)| {
        let entry = &books.entry;
        (place(entry.body.kind), entry.name.clone(), entry.id)
    });
    materials
        .iter()
        .filter(|(books, judgement)| is_kept(books, judgement))
        .map(|(books, judgement)| plank(books, judgement, received, today))
        .collect()
}

fn is_kept(books: &MaterialBooks, judgement: &Judgement) -> bool {
    let advice = &judgement.advice;
    !books.packs.is_empty()
        || advice.on_order_micro > 0
        || advice.known_demand_micro > 0
        || advice.due
}

fn plank(
    books: &MaterialBooks,
    judgement: &Judgement,
    received: &HashMap<i64, Quantity>,
    today: NaiveDate,
) -> Result<Plank, Error> {
    let (entry, advice) = (&books.entry, &judgement.advice);
    let unit = entry.body.unit.as_str();
    let written = |micro: i64| amount(Quantity::from_micro(micro), unit);
    let view = &judgement.view;
    let mut packs: Vec<&PackFacts> = books
        .packs
        .iter()
        .filter(|pack| pack.on_hand.micro() > 0)
        .collect();
    packs.sort_by_key(|pack| in_order_of_use(pack, today));
    let marks = marks(&packs, advice.reorder_point_micro, today);
    let figures: Vec<Figure> = packs
        .iter()
        .zip(marks)
        .take(VESSELS_MAX)
        .map(|(pack, mark)| figure(entry.body.kind, unit, pack, received, mark, today))
        .collect();
    let arrival = judgement.facts.arrivals.iter().min_by_key(|a| a.on);
    Ok(Plank {
        name: entry.name.clone(),
        kind: entry.body.kind.as_str(),
        free: amount(view.usable, unit),
        of: amount(view.on_hand, unit),
        promised: (view.reserved.micro() > 0).then(|| amount(view.reserved, unit)),
        arrives: arrival.map(|arrival| {
            format!(
                "{} on order, expected {}",
                written(advice.on_order_micro),
                day(arrival.on, today)
            )
        }),
        order: advice.due.then(|| match (advice.late, advice.order_by) {
            (true, _) | (_, None) => "order now".to_owned(),
            (false, Some(by)) => format!("order by {}", day(by, today)),
        }),
        more: packs.len() - figures.len(),
        figures,
        horizon: horizon(judgement, today)?,
    })
}

/// Usable before barred, open before sealed, then what expires first, then as they came.
fn in_order_of_use(pack: &PackFacts, today: NaiveDate) -> (bool, bool, NaiveDate, NaiveDate, i64) {
    (
        pack.barred(today).is_some(),
        pack.opened_on.is_none(),
        pack.effective_expiry().unwrap_or(NaiveDate::MAX),
        pack.received_on,
        pack.pack_id,
    )
}

/// For each pack what it would still hold, in millionths of the unit, when all stock is down to the reorder point and packs
/// are used up in order; none for the packs that would be empty or untouched then.
fn marks(packs: &[&PackFacts], reorder_point_micro: i64, today: NaiveDate) -> Vec<Option<i64>> {
    let usable = |pack: &PackFacts| match pack.barred(today) {
        Some(_) => 0,
        None => pack.on_hand.micro(),
    };
    let mut after: i64 = packs.iter().map(|pack| usable(pack)).sum();
    packs
        .iter()
        .map(|pack| {
            let own = usable(pack);
            after -= own;
            let left = reorder_point_micro - after;
            (0 < left && left <= own).then_some(left)
        })
        .collect()
}

fn figure(
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::shelf::tests::pack;

    fn day_of(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn the_mark_stands_where_the_stock_is_at_its_reorder_point() {
        let today = day_of("2026-01-02");
        let (one, two, three) = (pack(1, 100), pack(2, 80), pack(3, 50));
        let held = PackFacts {
            held_reason: Some("cloudy".into()),
            ..pack(4, 70)
        };
        let packs = [&one, &two, &three, &held];
        let at = |units: i64| -> Vec<Option<i64>> {
            let found = marks(&packs, units * 1_000_000, today);
            found
                .iter()
                .map(|mark| mark.map(|micro| micro / 1_000_000))
                .collect()
        };
        assert_eq!(at(0), [None, None, None, None]);
        assert_eq!(at(30), [None, None, Some(30), None]);
        assert_eq!(at(50), [None, None, Some(50), None]);
        assert_eq!(at(60), [None, Some(10), None, None]);
        assert_eq!(at(200), [Some(70), None, None, None]);
        assert_eq!(at(900), [None, None, None, None]);
    }
}
