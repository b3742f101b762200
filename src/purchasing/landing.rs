//! What only the rows of an order together can tell: whether they agree about the order, and what each of them cost
//! once freight, duty and fees are spread.
//!
//! Invariants: what is spread is spread over the rows of the order that this file brings and that have arrived, so that
//! nothing is left over and nothing counted twice; an order has one supplier and one day. Deliberately absent: the
//! arithmetic of spreading (`landed.rs`).

use std::collections::HashMap;

use super::csv_file::CellError;
use super::facts::{ImportFacts, SupplierKey};
use super::goods::amounts_of;
use super::import::{Draft, ImportOptions, Standing, same_supplier};
use super::landed::{LandedError, LineAmounts, is_repeated_figure, land_order};
use super::row::PurchaseRow;
use crate::base::Money;

/// Checks the rows order by order and gives each that arrived its landed cost.
pub(super) fn land(drafts: &mut [Draft<'_>], facts: &ImportFacts, options: ImportOptions) {
    for places in by_order(drafts) {
        check_agreement(drafts, &places, facts);
        if !options.confirm_repeated_freight {
            check_repeated_freight(drafts, &places);
        }
        land_arrived(drafts, &places, facts, options);
    }
}

/// The places of the rows of each order, in file order.
fn by_order(drafts: &[Draft<'_>]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut known: HashMap<&str, usize> = HashMap::new();
    for (at, draft) in drafts.iter().enumerate() {
        let Some(row) = draft.row else { continue };
        let group = *known.entry(&row.order_no).or_insert_with(|| {
            groups.push(Vec::new());
            groups.len() - 1
        });
        groups[group].push(at);
    }
    groups
}

/// What an order says about itself, and where it says so.
struct Header<'a> {
    supplier: Option<&'a SupplierKey>,
    supplier_name: &'a str,
    ordered_on: chrono::NaiveDate,
    place: String,
}

/// An order has one supplier and one day: those in the books, or those of its first row.
fn check_agreement(drafts: &mut [Draft<'_>], places: &[usize], facts: &ImportFacts) {
    let news: Vec<usize> = places
        .iter()
        .copied()
        .filter(|at| drafts[*at].standing == Standing::New)
        .collect();
    let Some(first) = news.first().and_then(|at| drafts[*at].row) else {
        return;
    };
    let first_line = drafts[news[0]].line;
    let stored = facts.orders.get(&first.order_no);
    let stored_key = stored.map(|order| SupplierKey::Known(order.supplier_id));
    let header = match stored {
        Some(order) => Header {
            supplier: stored_key.as_ref(),
            supplier_name: &order.supplier_name,
            ordered_on: order.ordered_on,
            place: "in the books".to_owned(),
        },
        None => Header {
            supplier: facts.suppliers.get(&first.supplier).map(|s| &s.key),
            supplier_name: &first.supplier,
            ordered_on: first.ordered_on,
            place: format!("on line {first_line} of the file"),
        },
    };
    for at in news {
        let Some(row) = drafts[at].row else { continue };
        let supplier = facts.suppliers.get(&row.supplier).map(|s| &s.key);
        if !same_supplier(supplier, header.supplier) {
            let told = format!("the supplier \"{}\"", header.supplier_name);
            drafts[at]
                .errors
                .push(disagrees(row, "supplier", &row.supplier, &told, &header));
        }
        if row.ordered_on != header.ordered_on {
            let (told, value) = (
                format!("the day {}", header.ordered_on),
                row.ordered_on.to_string(),
            );
            drafts[at]
                .errors
                .push(disagrees(row, "ordered_on", &value, &told, &header));
        }
    }
}

fn disagrees(
    row: &PurchaseRow,
    column: &str,
    value: &str,
    told: &str,
    header: &Header<'_>,
) -> CellError {
    let detail = format!(
        "order \"{}\" has {told} {}, and an order has one: correct it, or give this row another order number",
        row.order_no, header.place
    );
    CellError::new(column, value, detail)
}

/// The same freight on every row of an order of several lines: each row's own, or the order's repeated?
fn check_repeated_freight(drafts: &mut [Draft<'_>], places: &[usize]) {
    let distinct: Vec<&PurchaseRow> = places
        .iter()
        .filter(|at| drafts[**at].standing != Standing::Twice)
        .filter_map(|at| drafts[*at].row)
        .collect();
    let figures: Vec<Money> = distinct.iter().map(|row| row.freight).collect();
    let one_currency = distinct.windows(2).all(|w| w[0].currency == w[1].currency);
    if !one_currency || !is_repeated_figure(&figures) {
        return;
    }
    let (count, figure) = (figures.len(), figures[0]);
    for at in places {
        let draft = &mut drafts[*at];
        let (true, Some(row)) = (draft.is_news(), draft.row) else {
            continue;
        };
        let detail = format!(
            "all {count} rows of order \"{}\" have the freight {figure}, and freight is summed over an order: if it is the order's, write it on one row and leave the others blank; if it is each row's own, say so with confirm_repeated_freight=true",
            row.order_no
        );
        draft
            .errors
            .push(CellError::new("freight", &figure.to_string(), detail));
    }
}

/// Spreads what the order cost besides the goods over its rows that arrived, unless one of them is wrong.
fn land_arrived(
    drafts: &mut [Draft<'_>],
    places: &[usize],
    facts: &ImportFacts,
    options: ImportOptions,
) {
    let mut arrived: Vec<(usize, LineAmounts)> = Vec::with_capacity(places.len());
    let mut all_good = true;
    for at in places.iter().copied() {
        let draft = &mut drafts[at];
        let news = draft.row.filter(|_| draft.is_news());
        let Some((row, day)) = news.and_then(|row| Some((row, row.received_on?))) else {
            continue;
        };
        let mass_g = draft.goods.as_ref().and_then(|goods| goods.mass_g);
        match amounts_of(row, day, mass_g, facts) {
            Ok(amounts) => arrived.push((at, amounts)),
            Err(error) => draft.errors.push(error),
        }
        all_good &= draft.errors.is_empty();
    }
    if !all_good {
        return;
    }
    let amounts: Vec<LineAmounts> = arrived.iter().map(|(_, amounts)| *amounts).collect();
    match land_order(&amounts, options.spread_by) {
        Ok(landed) => {
            for ((at, _), line) in arrived.iter().zip(landed) {
                drafts[*at].landed = Some(line.landed);
            }
        }
        Err(error) => {
            for (at, amounts) in &arrived {
                let draft = &mut drafts[*at];
                let fault = draft
                    .row
                    .and_then(|row| landing_fault(&error, row, amounts));
                draft.errors.extend(fault);
            }
        }
    }
}

/// What of a landing error is to be said at a row; none where another row is to blame.
fn landing_fault(
    error: &LandedError,
    row: &PurchaseRow,
    amounts: &LineAmounts,
) -> Option<CellError> {
    let (column, value) = match error {
        LandedError::NoPositiveBase { column, .. } => match *column {
            "duty" => ("duty", row.duty),
            "fees" => ("fees", row.fees),
            _ => ("freight", row.freight),
        },
        LandedError::NoMass { .. } if amounts.mass_g.is_none() => {
            let detail = "what is counted or measured has no mass to spread the order's freight, duty and fees by: spread them by value or count";
            return Some(CellError::new("unit", "", detail));
        }
        LandedError::NoMass { .. } => return None,
        LandedError::NegativeBase { .. } | LandedError::OutOfRange(_) => {
            ("line_price", row.line_price)
        }
    };
    let at_fault = column == "line_price" || !value.is_zero();
    at_fault.then(|| CellError::new(column, &value.to_string(), error.to_string()))
}
