//! A plank of the shelf: one material with its words, its vessels and its horizon.
//!
//! Invariants: vessels stand in the order in which packs are used up (open ones first, then by their last good day); held and
//! expired packs come last and say why. Deliberately absent: figures of its own (the advice has them).

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::base::{Error, Quantity};
use crate::catalogue::MaterialKind;
use crate::pages::figure::{Figure, figure};
use crate::pages::horizon::{Horizon, horizon};
use crate::pages::words::{amount, day};
use crate::reorder::judge::Judgement;
use crate::reorder::material_facts::MaterialBooks;
use crate::stock::shelf::PackFacts;

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
