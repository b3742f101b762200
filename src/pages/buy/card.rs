//! A card of what to buy, and the words of an order.
//!
//! Invariant: what is due comes first, by its last day; then what is not due yet, by its day; what needs no order comes last.
//! Deliberately absent: figures of its own (the advice has them).

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;

use crate::base::{Error, Quantity};
use crate::pages::horizon::{Horizon, horizon};
use crate::pages::words::{amount, day};
use crate::reorder::Standing;

/// What to buy of one material or kit.
pub(super) struct Card {
    /// Its name.
    pub(super) name: String,
    /// Its code.
    pub(super) code: String,
    /// Its hue's word.
    pub(super) hue: &'static str,
    /// By when, in words.
    pub(super) by: String,
    /// Whether to order now.
    pub(super) due: bool,
    /// Whether the day is gone.
    pub(super) late: bool,
    /// How much, where an order is needed.
    pub(super) order: Option<String>,
    /// Where it is noted as ordered, where an order is needed.
    pub(super) note: Option<String>,
    /// Why, in a sentence.
    pub(super) reason: String,
    /// What is there and what is to come, as names and amounts.
    pub(super) figures: Vec<(&'static str, String)>,
    /// The stock to come.
    pub(super) horizon: Horizon,
}

/// The words of an order to one supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct OrderText {
    /// The supplier's name; none when the things were never ordered before.
    pub(super) supplier: Option<String>,
    /// The lines.
    pub(super) lines: Vec<String>,
}

/// The cards of a day; `names` are the suppliers' by id.
///
/// # Errors
/// [`Error::Internal`] when a horizon cannot be drawn.
pub(super) fn cards(
    standing: &[Standing],
    names: &HashMap<i64, String>,
    today: NaiveDate,
) -> Result<Vec<Card>, Error> {
    let mut watched: Vec<&Standing> = standing
        .iter()
        .filter(|one| one.judgement.watched)
        .collect();
    watched.sort_by_cached_key(|one| {
        let advice = &one.judgement.advice;
        let by = advice.order_by.unwrap_or(NaiveDate::MAX);
        (!advice.due, by, one.judgement.view.name.clone())
    });
    watched
        .into_iter()
        .map(|one| card(one, names, today))
        .collect()
}

fn card(one: &Standing, names: &HashMap<i64, String>, today: NaiveDate) -> Result<Card, Error> {
    let (advice, view) = (&one.judgement.advice, &one.judgement.view);
    let unit = view.unit.as_str();
    let by = match (advice.due, advice.late, advice.order_by) {
        (true, true, _) | (true, _, None) => "now".to_owned(),
        (_, _, Some(by)) if by == today => "today".to_owned(),
        (_, _, Some(by)) => format!("by {}", day(by, today)),
        (false, _, None) => "not yet".to_owned(),
    };
    let mut figures = vec![
        ("free", amount(view.usable, unit)),
        ("promised", amount(view.reserved, unit)),
        ("on order", amount(view.on_order, unit)),
        ("booked", amount(view.known_demand, unit)),
        ("a day, forecast", amount(view.daily_demand, unit)),
        ("reorder point", amount(view.reorder_point, unit)),
    ];
    if let Some(on) = advice.runs_out_on {
        figures.push(("runs out", day(on, today)));
    }
    if let Some(on) = advice.runs_out_early_on {
        figures.push(("one time in ten by", day(on, today)));
    }
    let needed = advice.order_by.is_some() && view.order_packs > 0;
    Ok(Card {
        name: view.name.clone(),
        code: view.material.clone(),
        hue: match &one.books {
            Some(books) => books.entry.body.kind.as_str(),
            None => "elastomer_base",
        },
        by,
        due: advice.due,
        late: advice.late,
        order: needed.then(|| how_much(one)),
        note: needed.then(|| noted_at(one, names, today)),
        reason: view.reason.clone(),
        figures,
        horizon: horizon(&one.judgement, today)?,
    })
}

/// How much to order, such as `2 kits` or `3 packs, 1,500 g`.
fn how_much(one: &Standing) -> String {
    let view = &one.judgement.view;
    let packs = view.order_packs;
    if one.books.is_none() {
        return format!("{packs} {}", if packs == 1 { "kit" } else { "kits" });
    }
    format!(
        "{packs} {}, {}",
        if packs == 1 { "pack" } else { "packs" },
        amount(view.order_quantity, &view.unit)
    )
}

/// The form in which it is noted as ordered, with what the advice says of it.
fn noted_at(one: &Standing, names: &HashMap<i64, String>, today: NaiveDate) -> String {
    let view = &one.judgement.view;
    let supplier = one.supplier_id.and_then(|id| names.get(&id));
    let mut query = form_urlencoded::Serializer::new(String::new());
    query
        .append_pair("item", &view.material)
        .append_pair("packs", &view.order_packs.to_string())
        .append_pair("supplier", supplier.map_or("", String::as_str))
        .append_pair("ordered_on", &today.to_string())
        .append_pair("received_on", "");
    if one.books.is_some() && view.order_packs > 0 {
        let pack_micro = view.order_quantity.micro() / i64::try_from(view.order_packs).unwrap_or(1);
        query
            .append_pair(
                "pack_quantity",
                &Quantity::from_micro(pack_micro).to_string(),
            )
            .append_pair("unit", &view.unit);
    }
    format!("/receive/delivery?{}", query.finish())
}

/// What is due although what is left of the budget does not pay for it.
pub(super) fn unpaid(standing: &[Standing]) -> Vec<String> {
    let due = standing.iter().filter(|one| {
        let judgement = &one.judgement;
        judgement.watched && judgement.advice.due && judgement.view.order_packs == 0
    });
    due.map(|one| one.judgement.view.name.clone()).collect()
}

/// The words of the orders that are due, by supplier; `names` are the suppliers' by id.
pub(super) fn order_texts(standing: &[Standing], names: &HashMap<i64, String>) -> Vec<OrderText> {
    let mut by_supplier: BTreeMap<Option<&String>, Vec<String>> = BTreeMap::new();
    let due = standing.iter().filter(|one| {
        let judgement = &one.judgement;
        judgement.watched && judgement.advice.due && judgement.view.order_packs > 0
    });
    for one in due {
        let supplier = one.supplier_id.and_then(|id| names.get(&id));
        let view = &one.judgement.view;
        by_supplier.entry(supplier).or_default().push(format!(
            "{} of {} ({})",
            how_much(one),
            view.name,
            view.material
        ));
    }
    by_supplier
        .into_iter()
        .map(|(supplier, lines)| OrderText {
            supplier: supplier.cloned(),
            lines,
        })
        .collect()
}
