//! One delivery that is typed: the columns of a purchase file as the fields of a form.
//!
//! Invariants: a field is named as its column, so that an error finds it; what was typed is kept. Deliberately absent: what is
//! right (the same reader and decision as for a file know).

use std::collections::HashMap;

use chrono::NaiveDate;

use super::field::{Field, Typed, field};
use crate::base::{Currency, FieldError};

/// Some fields that belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Group {
    /// What they are about.
    pub(super) legend: &'static str,
    /// The fields.
    pub(super) fields: Vec<Field>,
    /// Whether they are folded away until they are asked for.
    pub(super) folded: bool,
    /// Whether they stand open all the same.
    pub(super) open: bool,
}

/// The form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DeliveryForm {
    /// Its fields.
    pub(super) groups: Vec<Group>,
    /// What is wrong with it as a whole.
    pub(super) fault: Option<String>,
}

/// Columns with what to type, and whether each must be filled.
type Columns = &'static [(&'static str, &'static str, bool)];

/// The columns by group, with what to type and whether it must be filled.
const GROUPS: [(&str, bool, Columns); 4] = [
    (
        "What came",
        false,
        &[
            ("item", "Material or kit, by its code", true),
            ("lot", "The supplier's lot code", false),
            ("packs", "How many packs", true),
            (
                "pack_quantity",
                "What one pack holds (not for a kit)",
                false,
            ),
            ("unit", "In which unit (not for a kit)", false),
            ("received_on", "The day it came (empty: on order)", false),
            ("expires_on", "Use by", false),
        ],
    ),
    (
        "What it cost",
        false,
        &[
            ("line_price", "Price of all its packs together", true),
            ("currency", "Currency", true),
            ("freight", "Freight", false),
        ],
    ),
    (
        "The order",
        false,
        &[
            ("supplier", "Supplier (a new one is made)", true),
            ("order_no", "Number of the order, or of the note", true),
            ("line_no", "Line of the order", true),
            ("ordered_on", "The day of the order", true),
        ],
    ),
    (
        "More: duty, fees, tax, exchange rate, grant, kit lot",
        true,
        &[
            ("duty", "Duty", false),
            ("fees", "Fees", false),
            ("tax", "Tax of the line", false),
            ("tax_recoverable", "Is the tax recovered?", false),
            ("rate", "Base currency for one unit of it", false),
            ("funded_by", "Grant that pays (empty: common stock)", false),
            ("kit_lot", "Lot code of the kit, if another", false),
        ],
    ),
];

fn list_of(column: &str) -> Option<&'static str> {
    match column {
        "item" => Some("items"),
        "unit" => Some("units"),
        "supplier" => Some("suppliers"),
        "funded_by" => Some("grants"),
        _ => None,
    }
}

/// What the form begins with: what an address says, and else what is usual.
pub(super) fn begun(asked: Typed, today: NaiveDate, currency: Currency) -> Typed {
    let usual = [
        ("received_on", today.to_string()),
        ("currency", currency.to_string()),
        ("line_no", "1".to_owned()),
    ];
    let usual = usual.map(|(name, value)| (name.to_owned(), value));
    let mut typed = HashMap::from(usual);
    typed.extend(asked);
    typed
}

/// The form with what was typed, and what is wrong.
pub(super) fn delivery_form(
    typed: &Typed,
    errors: &[FieldError],
    whole: Option<&str>,
) -> DeliveryForm {
    let at = |name: &str| -> Option<String> {
        let here = errors
            .iter()
            .filter(|error| error.pointer.trim_start_matches('/') == name);
        let details: Vec<&str> = here.map(|error| error.detail.as_str()).collect();
        (!details.is_empty()).then(|| details.join("; "))
    };
    let groups = GROUPS.map(|(legend, folded, columns)| {
        let fields: Vec<Field> = columns
            .iter()
            .map(|(column, label, required)| Field {
                required: *required,
                list: list_of(column),
                value: typed.get(*column).cloned().unwrap_or_default(),
                fault: at(column),
                ..field(column, (*column).to_owned(), (*label).to_owned())
            })
            .collect();
        Group {
            legend,
            folded,
            open: fields
                .iter()
                .any(|field| field.fault.is_some() || !field.value.is_empty()),
            fields,
        }
    });
    let elsewhere = errors.iter().filter(|error| {
        let name = error.pointer.trim_start_matches('/');
        let mut columns = GROUPS.iter().flat_map(|(.., columns)| *columns);
        !columns.any(|(column, ..)| *column == name)
    });
    let details: Vec<&str> = elsewhere
        .map(|error| error.detail.as_str())
        .chain(whole)
        .collect();
    DeliveryForm {
        groups: groups.into(),
        fault: (!details.is_empty()).then(|| details.join("; ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::purchasing::row::COLUMNS;

    #[test]
    fn every_column_of_a_file_is_a_field_once() {
        let form = delivery_form(&Typed::new(), &[], None);
        let mut names: Vec<&str> = form
            .groups
            .iter()
            .flat_map(|group| &group.fields)
            .map(|field| field.name.as_str())
            .collect();
        let mut columns: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
        names.sort_unstable();
        columns.sort_unstable();
        assert_eq!(names, columns);
    }

    #[test]
    fn an_error_stands_at_its_field_and_unfolds_it() {
        let typed = [("tax".to_owned(), "some".to_owned())].into();
        let errors = [
            FieldError::new("/tax", "no number"),
            FieldError::new("/lines/0/row", "odd"),
        ];
        let form = delivery_form(&typed, &errors, None);
        assert_eq!(form.fault.as_deref(), Some("odd"));
        let more = form.groups.last().unwrap();
        assert!(more.open);
        let tax = more
            .fields
            .iter()
            .find(|field| field.name == "tax")
            .unwrap();
        let shown = (tax.value.as_str(), tax.fault.as_deref());
        assert_eq!(shown, ("some", Some("no number")));
    }

    #[test]
    fn the_form_begins_with_the_day_and_what_the_address_says() {
        let asked = [("line_no".to_owned(), "2".to_owned())].into();
        let today = "2026-03-02".parse().unwrap();
        let begun = begun(asked, today, Currency::parse("EUR").unwrap());
        assert_eq!(begun["received_on"], "2026-03-02");
        assert_eq!(
            (begun["line_no"].as_str(), begun["currency"].as_str()),
            ("2", "EUR")
        );
    }
}
