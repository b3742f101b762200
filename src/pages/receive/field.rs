//! A field of a form, as it is shown.

use std::collections::HashMap;

/// What was typed, by the name of the field.
pub(super) type Typed = HashMap<String, String>;

/// A field.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Field {
    /// Its name, and its id.
    pub(super) name: String,
    /// What to type.
    pub(super) label: String,
    /// `text` or `date`.
    pub(super) kind: &'static str,
    /// Which keyboard a phone shows.
    pub(super) keys: &'static str,
    /// The list of what is likely, by its id.
    pub(super) list: Option<&'static str>,
    /// The values with their words, where only those make sense.
    pub(super) values: &'static [(&'static str, &'static str)],
    /// Whether it must be filled.
    pub(super) required: bool,
    /// What stands in it.
    pub(super) value: String,
    /// What is wrong with it.
    pub(super) fault: Option<String>,
}

/// Whether tax is recovered.
pub(super) const RECOVERED: &[(&str, &str)] = &[
    ("", "not said"),
    ("yes", "yes, so that it is no part of the cost"),
    ("no", "no"),
];

/// The field of a column of a purchase file, under a name of its own; empty.
pub(super) fn field(column: &str, name: String, label: String) -> Field {
    let dated = column.ends_with("_on");
    Field {
        name,
        label,
        kind: if dated { "date" } else { "text" },
        keys: match column {
            "line_no" | "packs" => "numeric",
            "pack_quantity" | "line_price" | "freight" | "duty" | "fees" | "tax" | "rate" => {
                "decimal"
            }
            _ => "text",
        },
        values: match column {
            "tax_recoverable" => RECOVERED,
            _ => &[],
        },
        ..Field::default()
    }
}
