//! Which warnings the advice and the shelf give rise to, each in one plain sentence.
//!
//! Invariants: one alarm per kind and subject; the same facts give the same alarms. Deliberately absent: raising and
//! clearing (the operations do that), and whether a warning that stands open is raised anew (the stock room decides).

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::facts::{Expiring, ReorderAdvice};
use super::material_facts::MaterialBooks;
use super::order_lines::OrderLine;
use super::reason::shown;
use crate::base::Currency;
use crate::stock::shelf::PackFacts;
use crate::stock::warnings::Alarm;

/// Days before its expiry from which a lot in stock is warned of whatever is foreseen (assumption).
pub const EXPIRING_SOON_DAYS: i64 = 30;
/// The share of a lot that must be left at its expiry to be worth a warning long before, in hundredths (assumption).
const UNUSED_PERCENT_MIN: i128 = 1;

/// The kind of the warning to order.
pub const ORDER_BY: &str = "order_by";
/// The kind of the warning of a lot that expires.
pub const EXPIRING: &str = "expiring";
/// The kind of the warning of a part without its partner.
pub const STRANDED: &str = "stranded";
/// The kind of the warning of an order that has not come.
pub const OVERDUE_ORDER: &str = "overdue_order";
/// Every kind that this room raises and clears.
pub const KINDS: [&str; 4] = [ORDER_BY, EXPIRING, STRANDED, OVERDUE_ORDER];

/// A warning that should stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Its kind.
    pub kind: &'static str,
    /// The noun of its subject.
    pub noun: &'static str,
    /// The code or number of its subject.
    pub subject: String,
    /// What it says.
    pub alarm: Alarm,
}

/// The warning to order, when an order is due. A day that is gone stays the day: with `open_due_on`, that of the warning
/// that stands open, the day does not move on from day to day.
#[must_use]
pub fn order_alarm(
    noun: &'static str,
    advice: &ReorderAdvice,
    open_due_on: Option<NaiveDate>,
) -> Option<Wanted> {
    if !advice.due {
        return None;
    }
    let due_on = match (advice.late, advice.order_by, open_due_on) {
        (true, Some(today), Some(before)) => Some(before.min(today)),
        (_, by, _) => by,
    };
    Some(Wanted {
        kind: ORDER_BY,
        noun,
        subject: advice.material.clone(),
        alarm: Alarm {
            severity: if advice.late { 3 } else { 2 },
            due_on,
            reason: advice.reason.clone(),
        },
    })
}

/// The warnings of a material's lots that have expired with something in them, that expire soon, or of which something
/// will be left. A held pack is out of use already and says nothing.
#[must_use]
pub fn expiry_alarms(
    books: &MaterialBooks,
    expiring: &[Expiring],
    used: bool,
    today: NaiveDate,
    currency: Currency,
) -> Vec<Wanted> {
    let mut lots: BTreeMap<i64, Vec<&PackFacts>> = BTreeMap::new();
    for pack in &books.packs {
        if pack.held_reason.is_none() && net_micro(pack) > 0 {
            lots.entry(pack.lot_id).or_default().push(pack);
        }
    }
    // What is lost of one day is told once, from the lot that was received first.
    let mut unused: BTreeMap<NaiveDate, i64> = match used {
        true => expiring
            .iter()
            .map(|lost| (lost.on, lost.quantity_micro))
            .collect(),
        false => BTreeMap::new(),
    };
    let mut found = Vec::new();
    for (lot_id, packs) in lots {
        let Some(on) = packs
            .iter()
            .filter_map(|pack| pack.effective_expiry())
            .min()
        else {
            continue;
        };
        let of_day: Vec<&PackFacts> = packs
            .into_iter()
            .filter(|pack| pack.effective_expiry() == Some(on))
            .collect();
        let held_micro = of_day.iter().map(|pack| net_micro(pack)).sum::<i64>();
        let left = unused.entry(on).or_default();
        let left_micro = held_micro.min(*left);
        *left -= left_micro;
        let lot = LotOfDay {
            books,
            pack: of_day[0],
            on,
            currency,
        };
        if let Some((severity, reason)) = lot.says(held_micro, left_micro, today) {
            found.push(Wanted {
                kind: EXPIRING,
                noun: "lot",
                subject: lot_id.to_string(),
                alarm: Alarm {
                    severity,
                    due_on: Some(on),
                    reason,
                },
            });
        }
    }
    found
}

/// What a pack holds besides its heel.
fn net_micro(pack: &PackFacts) -> i64 {
    (pack.on_hand.micro() - pack.heel.micro()).max(0)
}

/// The packs of one lot that are good until one day.
struct LotOfDay<'a> {
    books: &'a MaterialBooks,
    pack: &'a PackFacts,
    on: NaiveDate,
    currency: Currency,
}

impl LotOfDay<'_> {
    fn says(&self, held_micro: i64, left_micro: i64, today: NaiveDate) -> Option<(i32, String)> {
        let unit = self.books.entry.body.unit.as_str();
        let (lot, material, on) = (&self.pack.lot_code, &self.books.entry.code, self.on);
        let amount = |micro: i64| format!("{} {unit}{}", shown(micro), self.worth(micro));
        if on < today {
            let reason = format!(
                "Lot {lot} of {material} was good until {on} and {} are still on the books, so hold it or write it off.",
                amount(held_micro)
            );
            return Some((2, reason));
        }
        if (on - today).num_days() <= EXPIRING_SOON_DAYS {
            let reason = format!(
                "Lot {lot} of {material} is good until {on} and holds {}, so use it first.",
                amount(held_micro)
            );
            return Some((2, reason));
        }
        let worth_telling =
            i128::from(left_micro) * 100 >= i128::from(held_micro) * UNUSED_PERCENT_MIN;
        (left_micro > 0 && worth_telling).then(|| {
            let reason = format!(
                "Lot {lot} of {material} is good until {on}, and at the present use {} of it will be left then, so use it first.",
                amount(left_micro)
            );
            (1, reason)
        })
    }

    /// What a quantity of the lot is worth, in brackets.
    fn worth(&self, micro: i64) -> String {
        let on_hand = i128::from(self.pack.lot_on_hand.micro());
        let value = i128::from(self.pack.lot_value.micro()) * i128::from(micro);
        if on_hand <= 0 || value <= 0 {
            return String::new();
        }
        let value = i64::try_from(value / on_hand).unwrap_or(i64::MAX);
        format!(" (worth {} {})", shown(value), self.currency)
    }
}

/// The warning of a part of kits whose partner is used up: one for each of the two materials that has such stock.
/// `least_micro` is what is not worth a warning, of either part.
#[must_use]
pub fn stranded_alarms(
    base: &MaterialBooks,
    curing_agent: &MaterialBooks,
    least_micro: (i64, i64),
    today: NaiveDate,
) -> Vec<Wanted> {
    let stranded = |own: &MaterialBooks, partner: &MaterialBooks, words: &str, least: i64| {
        let mut lots: BTreeMap<&str, i64> = BTreeMap::new();
        for pack in own.packs.iter().filter(|pack| pack.barred(today).is_none()) {
            if let Some(kit_lot) = pack.kit_lot.as_deref().filter(|_| net_micro(pack) > 0) {
                *lots.entry(kit_lot).or_default() += net_micro(pack);
            }
        }
        // A partner that is only held may come back.
        let good = |pack: &&PackFacts| {
            net_micro(pack) > 0 && pack.effective_expiry().is_none_or(|last| last >= today)
        };
        for pack in partner.packs.iter().filter(good) {
            if let Some(kit_lot) = pack.kit_lot.as_deref() {
                lots.remove(kit_lot);
            }
        }
        let quantity_micro = lots.values().sum::<i64>();
        (quantity_micro > least).then(|| {
            let unit = own.entry.body.unit.as_str();
            let lots: Vec<&str> = lots.into_keys().collect();
            Wanted {
                kind: STRANDED,
                noun: "material",
                subject: own.entry.code.to_string(),
                alarm: Alarm {
                    severity: 1,
                    due_on: None,
                    reason: format!(
                        "{} {unit} of {} have no {words} left in kit lot {}, so mix them with another kit lot or write them off.",
                        shown(quantity_micro),
                        own.entry.code,
                        lots.join(", ")
                    ),
                },
            }
        })
    };
    [
        stranded(base, curing_agent, "curing agent", least_micro.0),
        stranded(curing_agent, base, "base", least_micro.1),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The warnings of an item's orders that should have come before `today`. Where the supplier said no day, the lead time
/// (in days) says one.
#[must_use]
pub fn overdue_alarms(
    code: &str,
    lines: &[OrderLine],
    lead_time_days: f64,
    today: NaiveDate,
) -> Vec<Wanted> {
    let overdue = |line: &OrderLine| line.due_on(lead_time_days).filter(|on| *on < today);
    lines
        .iter()
        .filter_map(|line| {
            let on = overdue(line)?;
            Some(Wanted {
                kind: OVERDUE_ORDER,
                noun: "order_line",
                subject: line.name(),
                alarm: Alarm {
                    severity: 2,
                    due_on: Some(on),
                    reason: format!(
                        "Line {} of order {} ({} of {code}, ordered on {}) was expected on {on} and has not come, so ask for it.",
                        line.line_no, line.order, line.packs, line.ordered_on
                    ),
                },
            })
        })
        .collect()
}
