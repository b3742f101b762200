//! The check values for reports: escaping of exported cells, and the rounding of what is printed.
//!
//! Each case stands in `costing.json` beside its source.

use heeltap::base::{Currency, Money};
use heeltap::costing::export::csv_file::{begins_a_formula, quoted, record_append};
use heeltap::costing::export::sheet::Cell;
use heeltap::costing::rounding::print_table;
use serde_json::Value;

/// The cases of one kind, of which there must be `count`.
#[track_caller]
fn cases(kind: &str, count: usize) -> Vec<Value> {
    let file: Value = serde_json::from_str(include_str!("costing.json")).unwrap();
    let all = file["cases"].as_array().unwrap();
    let found: Vec<Value> = all.iter().filter(|c| c["kind"] == kind).cloned().collect();
    assert_eq!(found.len(), count, "cases of kind {kind}");
    found
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}

/// Of the two forms that the source allows, ours escapes only what is dangerous, so that plain text stays as it is.
#[test]
fn export_escape() {
    for case in cases("csv.export-escape", 5) {
        let cell = text(&case["inputs"]["cell"]);
        let (dangerous, expected) = (
            case["expected"]["dangerous"].as_bool(),
            text(&case["expected"]["only_when_dangerous"]),
        );
        assert_eq!(Some(begins_a_formula(cell)), dangerous, "{case}");
        assert_eq!(quoted(cell), expected, "{case}");
        let mut record = String::new();
        record_append(&mut record, &[Cell::text(cell), Cell::Count(1)]);
        assert_eq!(record, format!("{expected},1\r\n"), "{case}");
    }
}

/// A table of one cell is printed as that cell rounded.
#[test]
fn money_round() {
    for case in cases("money.round", 10) {
        let decimals = case["inputs"]["decimals"].as_u64().unwrap();
        let code = ["JPY", "", "EUR", "BHD"][usize::try_from(decimals).unwrap()];
        let currency = Currency::parse(code).unwrap();
        let amount = Money::parse(text(&case["inputs"]["amount"])).unwrap();
        let table = print_table(&[[amount, Money::ZERO]], currency).unwrap();
        let expected = text(&case["expected"]["text"]);
        let row = &table.rows[0];
        for printed in [
            row.cells[0],
            row.total,
            table.total.cells[0],
            table.total.total,
        ] {
            assert_eq!(currency.format(printed), expected, "{case}");
            assert_eq!(
                Some(currency.minor_units(printed)),
                case["expected"]["minor_units"].as_i64()
            );
        }
        assert_eq!(row.cells[1], Money::ZERO, "{case}");
    }
}

#[test]
fn every_case_is_run_by_one_of_the_tests() {
    let file: Value = serde_json::from_str(include_str!("costing.json")).unwrap();
    assert_eq!(file["cases"].as_array().unwrap().len(), 5 + 10);
}
