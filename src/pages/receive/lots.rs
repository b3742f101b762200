//! Lots as they are named on these pages, with what leads to each and to its label.

use std::collections::HashMap;

use crate::base::{Currency, Money, Quantity, Unit};
use crate::pages::words::{amount, counted, money};
use crate::purchasing::report::LotReport;
use crate::stock::views::LotView;

/// What can be ordered, by its code.
pub(super) type Items = HashMap<String, Item>;

/// A material or a kit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Item {
    /// Its name.
    pub(super) name: String,
    /// The unit it is kept in; none of a kit.
    pub(super) unit: Option<Unit>,
}

/// The name of a code; the code where there is none.
pub(super) fn name_of(items: &Items, code: &str) -> String {
    items
        .get(code)
        .map_or_else(|| code.to_owned(), |item| item.name.clone())
}

/// A lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct LotShown {
    /// Its id, once it is in the books.
    pub(super) id: Option<i64>,
    /// The supplier's lot code.
    pub(super) lot: String,
    /// The material's name.
    pub(super) material: String,
    /// How much came, such as `2 packs of 1,100 g`.
    pub(super) packs: String,
    /// What it cost, landed.
    pub(super) cost: String,
}

fn packs(count: usize, each: Option<Quantity>, unit: &str) -> String {
    let packs = counted(i64::try_from(count).unwrap_or(i64::MAX), "pack", "packs");
    match each {
        Some(each) => format!("{packs} of {}", amount(each, unit)),
        None => packs,
    }
}

fn unit_of(items: &Items, code: &str) -> &'static str {
    let unit = items.get(code).and_then(|item| item.unit);
    unit.map_or("each", Unit::as_str)
}

fn cost(landed: Money, currency: Currency) -> String {
    money(landed, currency.as_str())
}

/// A lot of a report.
pub(super) fn lot_reported(lot: &LotReport, items: &Items, currency: Currency) -> LotShown {
    let unit = unit_of(items, &lot.material);
    LotShown {
        id: lot.id,
        lot: lot.lot.clone(),
        material: name_of(items, &lot.material),
        packs: packs(lot.packs as usize, Some(lot.pack_quantity), unit),
        cost: cost(lot.landed_cost, currency),
    }
}

/// A lot of the books. Its packs are all alike, unless the books say otherwise.
pub(super) fn lot_kept(lot: &LotView, items: &Items, currency: Currency) -> LotShown {
    let first = lot.packs.first().map(|pack| pack.received);
    let alike = first.filter(|first| lot.packs.iter().all(|pack| pack.received == *first));
    LotShown {
        id: Some(lot.id),
        lot: lot.lot.clone(),
        material: name_of(items, &lot.material),
        packs: packs(lot.packs.len(), alike, unit_of(items, &lot.material)),
        cost: cost(lot.landed_cost, currency),
    }
}
