//! Writing CSV (RFC 4180) that a spreadsheet opens as what it is: text stays text, numbers stay numbers.
//!
//! Invariants: a text stands in quotes, its quotes doubled, and one that a spreadsheet would take for a formula begins
//! with an apostrophe; a number is bare and never escaped, so that a negative amount can be added up; records end with
//! CR LF. Deliberately absent: which columns (the reports know), reading CSV (purchasing).
//!
//! Source of the escaping: OWASP, *CSV Injection*. Applied to text only and only where it is needed; a tab, CR or LF in
//! front counts, and so do the full-width forms of `= + - @`, which some spreadsheets fold (from memory).

use std::fmt::Write;

use super::sheet::{Cell, FRAME, Tabular};

/// What a spreadsheet may take for the beginning of a formula.
const BEGINS_A_FORMULA: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// Whether a spreadsheet may take a text for a formula.
///
/// ```
/// use heeltap::costing::export::csv_file::begins_a_formula;
/// assert!(begins_a_formula("=1+2") && begins_a_formula("-5 kg returned"));
/// assert!(!begins_a_formula("plain text") && !begins_a_formula(""));
/// ```
#[must_use]
pub fn begins_a_formula(text: &str) -> bool {
    text.starts_with(BEGINS_A_FORMULA)
}

/// A text as it stands in the file.
///
/// ```
/// use heeltap::costing::export::csv_file::quoted;
/// assert_eq!(quoted("5\" disc"), "\"5\"\" disc\"");
/// assert_eq!(quoted("@sum"), "\"'@sum\"");
/// ```
#[must_use]
pub fn quoted(text: &str) -> String {
    let escape = if begins_a_formula(text) { "'" } else { "" };
    format!("\"{escape}{}\"", text.replace('"', "\"\""))
}

/// Appends a record, with its line end.
///
/// ```
/// use heeltap::base::Micro;
/// use heeltap::costing::export::{csv_file::record_append, sheet::Cell};
/// let mut file = String::new();
/// record_append(&mut file, &[Cell::text("G-1"), Cell::Count(3), Cell::Decimal(Micro::from_int(-2)), Cell::Blank]);
/// assert_eq!(file, "\"G-1\",3,-2,\r\n");
/// ```
pub fn record_append(file: &mut String, cells: &[Cell]) {
    for (at, cell) in cells.iter().enumerate() {
        if at > 0 {
            file.push(',');
        }
        // Writing to a string cannot fail.
        let _ = match cell {
            Cell::Text(text) => file.write_str(&quoted(text)),
            Cell::Count(count) => write!(file, "{count}"),
            Cell::Decimal(value) => write!(file, "{value}"),
            Cell::Amount(amount, currency) => file.write_str(&currency.format(*amount)),
            Cell::Blank => Ok(()),
        };
    }
    file.push_str("\r\n");
}

/// The first record: the names of the columns, the frame's last.
#[must_use]
pub fn csv_head(table: &dyn Tabular) -> String {
    let mut file = String::new();
    let names = table.columns().into_iter().chain(FRAME);
    record_append(&mut file, &names.map(Cell::text).collect::<Vec<_>>());
    file
}

/// The records from a place on, each with the frame, until about `bytes` are written or none is left; the place after
/// them.
#[must_use]
pub fn csv_part(table: &dyn Tabular, mut at: usize, bytes: usize) -> (String, usize) {
    let frame = table.frame().cells();
    let mut part = String::new();
    while at < table.records() && part.len() < bytes {
        let mut cells = table.record(at);
        cells.extend(frame.iter().cloned());
        record_append(&mut part, &cells);
        at += 1;
    }
    (part, at)
}

/// The whole file.
#[must_use]
pub fn csv_whole(table: &dyn Tabular) -> String {
    csv_head(table) + &csv_part(table, 0, usize::MAX).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Currency, Money};
    use proptest::prelude::*;

    #[test]
    fn an_amount_has_the_digits_of_its_currency() {
        let amount = |code: &str, text: &str| {
            let mut file = String::new();
            let currency = Currency::parse(code).unwrap();
            record_append(
                &mut file,
                &[Cell::Amount(Money::parse(text).unwrap(), currency)],
            );
            file
        };
        assert_eq!(amount("EUR", "-1.5"), "-1.50\r\n");
        assert_eq!(amount("JPY", "12"), "12\r\n");
        assert_eq!(amount("BHD", "0.1"), "0.100\r\n");
    }

    #[test]
    fn every_beginning_of_a_formula_is_escaped() {
        for first in BEGINS_A_FORMULA {
            assert_eq!(quoted(&format!("{first}x")), format!("\"'{first}x\""));
            assert_eq!(quoted(&format!("x{first}")), format!("\"x{first}\""));
        }
    }

    proptest! {
        #[test]
        fn any_text_comes_back_from_another_reader(texts in prop::collection::vec(".*", 1..6)) {
            let mut file = String::new();
            record_append(&mut file, &texts.iter().map(Cell::text).collect::<Vec<_>>());
            let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(file.as_bytes());
            let record = reader.records().next().unwrap().unwrap();
            prop_assert_eq!(record.len(), texts.len());
            for (found, text) in record.iter().zip(&texts) {
                let escaped = found.strip_prefix('\'').filter(|_| begins_a_formula(text));
                prop_assert_eq!(escaped.unwrap_or(found), text.as_str());
                prop_assert!(!begins_a_formula(found));
            }
        }
    }
}
