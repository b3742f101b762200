//! An order: what of it came, and a form for what is still to come.
//!
//! Invariants: a line arrives whole, with what the delivery says of it; a field is named after its column and its line, so that
//! an error finds it. Deliberately absent: what is right (the operation knows), and other packs than were ordered.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use super::field::{Field, Typed, field};
use super::lots::{Items, LotShown, name_of};
use crate::base::{FieldError, Quantity};
use crate::pages::words::{amount, counted, day};
use crate::purchasing::facts::LineState;
use crate::purchasing::ops::{OrderLineView, OrderView};

/// An order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct OrderShown {
    /// Its number.
    pub(super) order_no: String,
    /// Its number as a part of an address.
    pub(super) address: String,
    /// The supplier's name.
    pub(super) supplier: String,
    /// The day of the order.
    pub(super) ordered: String,
    /// The lines that came, or will not come.
    pub(super) done: Vec<LineDone>,
    /// The lines that are to come.
    pub(super) open: Vec<LineOpen>,
    /// The day of arrival.
    pub(super) received_on: Field,
    /// What is wrong as a whole.
    pub(super) fault: Option<String>,
    /// What the form for another line of it begins with, as a query.
    pub(super) another: String,
}

/// A line that came, or will not come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct LineDone {
    /// Its number.
    pub(super) line_no: u32,
    /// What it is.
    pub(super) what: String,
    /// What became of it.
    pub(super) state: String,
    /// The lots it brought.
    pub(super) lots: Vec<LotShown>,
}

/// A line that is to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct LineOpen {
    /// Its number.
    pub(super) line_no: u32,
    /// What it is.
    pub(super) what: String,
    /// When it should come, if that can be told.
    pub(super) expected: Option<String>,
    /// Whether that day is gone.
    pub(super) late: bool,
    /// Its price.
    pub(super) price: String,
    /// Whether it is ticked as arrived.
    pub(super) arrived: bool,
    /// What is said of it as a rule.
    pub(super) fields: Vec<Field>,
    /// What is said of it where there is something to say.
    pub(super) more: Vec<Field>,
    /// Whether the latter stand open.
    pub(super) more_open: bool,
    /// What is wrong with the line.
    pub(super) fault: Option<String>,
}

/// A form that was refused: what was typed, and what is wrong.
#[derive(Default)]
pub(super) struct Failed {
    /// What was typed.
    pub(super) typed: Typed,
    /// What is wrong, where fields are at fault.
    pub(super) errors: Vec<FieldError>,
    /// What is wrong as a whole.
    pub(super) detail: Option<String>,
}

const FIELDS: [(&str, &str); 2] = [("lot", "The supplier's lot code"), ("expires_on", "Use by")];
const MORE: [(&str, &str); 7] = [
    ("freight", "Freight (empty: as ordered)"),
    ("duty", "Duty (empty: as ordered)"),
    ("fees", "Fees (empty: as ordered)"),
    ("tax", "Tax of the line (empty: as ordered)"),
    ("tax_recoverable", "Is the tax recovered?"),
    ("rate", "Base currency for one unit of its own"),
    ("kit_lot", "Lot code of the kit, if another"),
];

/// What a line orders, such as `2 packs of 1,100 g of Base`.
pub(super) fn what(line: &OrderLineView, items: &Items) -> String {
    let name = name_of(items, &line.item);
    let packs = counted(line.packs, "pack", "packs");
    let each = line.pack_quantity.as_deref().map(Quantity::parse);
    match (each, &line.unit) {
        (Some(Ok(each)), Some(unit)) => format!("{packs} of {} of {name}", amount(each, unit)),
        _ => format!("{packs} of {name}"),
    }
}

fn ticked(typed: &Typed, line_no: u32) -> bool {
    typed.contains_key(&format!("arrived-{line_no}"))
}

/// The lines of an order that were ticked, in its order.
pub(super) fn lines_ticked(order: &OrderView, typed: &Typed) -> Vec<u32> {
    let lines = order.lines.iter().map(|line| line.line_no);
    lines.filter(|line_no| ticked(typed, *line_no)).collect()
}

/// The body that the API would have been sent. What is left empty is not sent on.
pub(super) fn document(lines: &[u32], typed: &Typed) -> Value {
    let value = |name: &str| typed.get(name).map_or("", |value| value.trim()).to_owned();
    let line = |line_no: &u32| {
        let mut line = Map::from_iter([("line_no".to_owned(), json!(line_no))]);
        for (column, _) in FIELDS.iter().chain(&MORE) {
            let said = value(&format!("{column}-{line_no}"));
            match (*column, said.as_str()) {
                (_, "") => None,
                ("tax_recoverable", "yes") => line.insert((*column).to_owned(), json!(true)),
                ("tax_recoverable", "no") => line.insert((*column).to_owned(), json!(false)),
                (_, said) => line.insert((*column).to_owned(), json!(said)),
            };
        }
        Value::Object(line)
    };
    let lines: Vec<Value> = lines.iter().map(line).collect();
    json!({"received_on": value("received_on"), "lines": lines})
}

/// The faults by the name of the field, as the form has them; under no name, what belongs to no field.
fn faults(failed: &Failed, lines: &[u32]) -> HashMap<String, Vec<String>> {
    let mut faults: HashMap<String, Vec<String>> = HashMap::new();
    for error in &failed.errors {
        let parts: Vec<&str> = error.pointer.split('/').skip(1).collect();
        let line = |index: &str| index.parse().ok().and_then(|index: usize| lines.get(index));
        let name = match parts.as_slice() {
            ["received_on"] => "received_on".to_owned(),
            ["lines", index, column] => match (line(index), *column) {
                (Some(line_no), "line_no" | "row") => format!("arrived-{line_no}"),
                (Some(line_no), column) => {
                    let known = FIELDS
                        .iter()
                        .chain(&MORE)
                        .any(|(known, _)| *known == column);
                    let place = if known { column } else { "arrived" };
                    format!("{place}-{line_no}")
                }
                (None, _) => String::new(),
            },
            _ => String::new(),
        };
        faults.entry(name).or_default().push(error.detail.clone());
    }
    faults
}

/// An order as it is shown. `lots` are those it brought, by id.
pub(super) fn order_shown(
    order: &OrderView,
    supplier: String,
    address: String,
    lots: &HashMap<i64, LotShown>,
    (items, today): (&Items, NaiveDate),
    failed: Option<&Failed>,
) -> OrderShown {
    let lines = failed.map_or_else(Vec::new, |failed| lines_ticked(order, &failed.typed));
    let faults = failed.map_or_else(HashMap::new, |failed| faults(failed, &lines));
    let fault = |name: &str| faults.get(name).map(|details| details.join("; "));
    let typed = |name: &str| failed.and_then(|failed| failed.typed.get(name).cloned());
    let (open, done): (Vec<_>, Vec<_>) = order
        .lines
        .iter()
        .partition(|line| line.state == LineState::Ordered);
    let alone = open.len() == 1;
    let shown = |columns: &[(&str, &str)], line_no: u32| -> Vec<Field> {
        let shown = columns.iter().map(|(column, label)| {
            let name = format!("{column}-{line_no}");
            Field {
                value: typed(&name).unwrap_or_default(),
                fault: fault(&name),
                ..field(column, name, (*label).to_owned())
            }
        });
        shown.collect()
    };
    let line_open = |line: &OrderLineView| {
        let more = shown(&MORE, line.line_no);
        LineOpen {
            line_no: line.line_no,
            what: what(line, items),
            expected: line.expected_on.map(|on| day(on, today)),
            late: line.expected_on.is_some_and(|on| on < today),
            price: format!("{} {}", line.line_price, line.currency),
            arrived: match failed {
                Some(failed) => ticked(&failed.typed, line.line_no),
                None => alone,
            },
            fields: shown(&FIELDS, line.line_no),
            more_open: more
                .iter()
                .any(|field| field.fault.is_some() || !field.value.is_empty()),
            more,
            fault: fault(&format!("arrived-{}", line.line_no)),
        }
    };
    let next_line = order
        .lines
        .iter()
        .map(|line| line.line_no)
        .max()
        .unwrap_or(0)
        + 1;
    let whole = failed.filter(|failed| failed.errors.is_empty());
    OrderShown {
        order_no: order.order_no.clone(),
        address,
        ordered: day(order.ordered_on, today),
        open: open.into_iter().map(line_open).collect(),
        done: done
            .into_iter()
            .map(|line| line_done(line, lots, (items, today)))
            .collect(),
        received_on: Field {
            required: true,
            value: typed("received_on").unwrap_or_else(|| today.to_string()),
            fault: fault("received_on"),
            ..field(
                "received_on",
                "received_on".to_owned(),
                "The day it came".to_owned(),
            )
        },
        fault: whole
            .and_then(|failed| failed.detail.clone())
            .or_else(|| fault("")),
        another: form_urlencoded::Serializer::new(String::new())
            .append_pair("order_no", &order.order_no)
            .append_pair("supplier", &supplier)
            .append_pair("ordered_on", &order.ordered_on.to_string())
            .append_pair("line_no", &next_line.to_string())
            .finish(),
        supplier,
    }
}

fn line_done(
    line: &OrderLineView,
    lots: &HashMap<i64, LotShown>,
    (items, today): (&Items, NaiveDate),
) -> LineDone {
    LineDone {
        line_no: line.line_no,
        what: what(line, items),
        state: match line.received_on {
            Some(on) => format!("came {}", day(on, today)),
            None => "cancelled: it will not come".to_owned(),
        },
        lots: line
            .lots
            .iter()
            .filter_map(|id| lots.get(id).cloned())
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(fields: &[(&str, &str)]) -> Typed {
        let owned = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
        fields.iter().map(owned).collect()
    }

    #[test]
    fn what_is_sent_on_is_what_was_said_of_the_lines_that_came() {
        let typed = typed(&[
            ("received_on", "2026-03-02"),
            ("lot-2", " B2 "),
            ("freight-2", ""),
            ("tax-2", "3.10"),
            ("tax_recoverable-2", "no"),
            ("lot-3", "not this one"),
        ]);
        let expected = json!({"received_on": "2026-03-02",
            "lines": [{"line_no": 2, "lot": "B2", "tax": "3.10", "tax_recoverable": false}]});
        assert_eq!(document(&[2], &typed), expected);
    }

    #[test]
    fn an_error_is_led_back_from_its_pointer_to_its_field() {
        let failed = Failed {
            errors: vec![
                FieldError::new("/lines/1/lot", "one"),
                FieldError::new("/lines/0/packs", "two"),
                FieldError::new("/received_on", "three"),
                FieldError::new("/lines", "four"),
            ],
            ..Failed::default()
        };
        let faults = faults(&failed, &[3, 7]);
        let at = |name: &str| faults[name].join(" ");
        let found = [at("lot-7"), at("arrived-3"), at("received_on"), at("")];
        assert_eq!(found, ["one", "two", "three", "four"]);
    }
}
