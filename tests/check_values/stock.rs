//! Check values of lot costing, from outside the project, each beside its source in `stock.json`.
//!
//! Our ledger keeps cost by specific identification: an issue names its lot and is worth its share of what that lot is
//! still worth. The FIFO cases are met by taking from the oldest lot first; the cases of the other rule for odd
//! remainders (`cumulative`) are not ours and not checked. One unit of the ledger stands for one minor unit here.

use std::collections::BTreeMap;

use heeltap::base::{Money, Quantity};
use heeltap::stock::ledger::{LotBalance, MovementKind, Posting};
use serde_json::Value;

/// A lot of a case with its ledger.
struct Lot {
    code: String,
    balance: LotBalance,
}

fn text<'a>(value: &'a Value, name: &str) -> &'a str {
    value[name]
        .as_str()
        .unwrap_or_else(|| panic!("no {name}: {value}"))
}

fn quantity(value: &Value) -> Quantity {
    Quantity::parse(text(value, "quantity")).unwrap()
}

fn posting(kind: MovementKind, quantity: Quantity, value: Money) -> Posting {
    Posting {
        lot_id: 1,
        pack_id: Some(1),
        kind,
        quantity,
        value,
        reason: String::new(),
        actor: "check".into(),
        cast_id: None,
        batch_no: None,
        purpose: None,
        reverses_id: None,
        effective_on: "2026-01-01".parse().unwrap(),
    }
}

fn received(case: &Value) -> Vec<Lot> {
    let receipts = case["inputs"]["receipts"].as_array().unwrap();
    let lot = |receipt: &Value| {
        let landed = Money::from_micro(receipt["landed_minor"].as_i64().unwrap());
        let mut balance = LotBalance::empty();
        let receipt_of = posting(MovementKind::Receipt, quantity(receipt), landed);
        balance
            .append(&receipt_of, chrono::DateTime::UNIX_EPOCH)
            .unwrap();
        Lot {
            code: text(receipt, "lot").to_owned(),
            balance,
        }
    };
    receipts.iter().map(lot).collect()
}

/// Takes from a lot, and tells what that is worth in minor units.
fn take(lot: &mut Lot, quantity: Quantity) -> Option<i64> {
    let value = lot.balance.issue_value(quantity).ok()?;
    let issue = posting(
        MovementKind::Consumption,
        quantity.checked_neg().unwrap(),
        value.checked_neg().unwrap(),
    );
    lot.balance
        .append(&issue, chrono::DateTime::UNIX_EPOCH)
        .unwrap();
    Some(value.micro())
}

/// The parts of an issue: lot, quantity, cost. The named lot, else the oldest that holds something.
fn issue(lots: &mut [Lot], issue: &Value) -> Vec<(String, Quantity, i64)> {
    let mut left = quantity(issue);
    let mut parts = Vec::new();
    for lot in lots {
        if issue["lot"].as_str().is_some_and(|named| named != lot.code) {
            continue;
        }
        let part = left.min(lot.balance.quantity);
        if part.is_zero() {
            continue;
        }
        let cost = take(lot, part).unwrap();
        parts.push((lot.code.clone(), part, cost));
        left = left.checked_sub(part).unwrap();
    }
    assert!(left.is_zero(), "the case asks for more than there is");
    parts
}

fn costed(case: &Value) {
    let expected = &case["expected"]["remaining_value"];
    let id = text(case, "id");
    let mut lots = received(case);
    let mut issued_total = 0;
    let issues = case["inputs"]["issues"].as_array().unwrap();
    for (asked, told) in issues.iter().zip(expected["issues"].as_array().unwrap()) {
        let found = issue(&mut lots, asked);
        let told_parts: Vec<(String, Quantity, i64)> = told["parts"]
            .as_array()
            .unwrap()
            .iter()
            .map(|part| {
                (
                    text(part, "lot").to_owned(),
                    quantity(part),
                    part["cost_minor"].as_i64().unwrap(),
                )
            })
            .collect();
        assert_eq!(found, told_parts, "{id} {}", asked["issue"]);
        let cost: i64 = found.iter().map(|part| part.2).sum();
        assert_eq!(told["cost_minor"], cost, "{id} {}", asked["issue"]);
        issued_total += cost;
    }
    let mut on_hand_total = 0;
    for lot in &lots {
        let told = &expected["on_hand"][&lot.code];
        assert_eq!(lot.balance.quantity, quantity(told), "{id} {}", lot.code);
        assert_eq!(
            told["value_minor"],
            lot.balance.value.micro(),
            "{id} {}",
            lot.code
        );
        on_hand_total += lot.balance.value.micro();
    }
    assert_eq!(expected["issued_total_minor"], issued_total, "{id}");
    assert_eq!(expected["on_hand_total_minor"], on_hand_total, "{id}");
    assert_eq!(
        expected["landed_total_minor"],
        issued_total + on_hand_total,
        "{id}: conservation"
    );
}

/// An issue of more than there is fails and leaves the lot as it was.
fn insufficient(case: &Value) {
    let mut lots = received(case);
    let before = lots[0].balance.clone();
    let asked = quantity(&case["inputs"]["issues"][0]);
    assert_eq!(case["expected"]["state_unchanged"], true);
    assert_eq!(take(&mut lots[0], asked), None);
    assert_eq!(lots[0].balance, before);
}

#[test]
fn lot_costing() {
    let file: Value = serde_json::from_str(include_str!("stock.json")).unwrap();
    let mut run: BTreeMap<String, usize> = BTreeMap::new();
    for case in file["cases"].as_array().unwrap() {
        let kind = text(case, "kind");
        match kind {
            "lot.fifo" | "lot.specific" => costed(case),
            "lot.insufficient" => insufficient(case),
            other => panic!("no check for the kind {other}"),
        }
        *run.entry(kind.to_owned()).or_default() += 1;
    }
    let counts: Vec<usize> = run.into_values().collect();
    assert_eq!(
        counts,
        [4, 1, 2],
        "lot.fifo, lot.insufficient, lot.specific"
    );
}

/// The published exercise behind lot.fifo-07: what is left of three lots after 250 were sold is worth 3,900.
#[test]
fn the_published_closing_value() {
    let file: Value = serde_json::from_str(include_str!("stock.json")).unwrap();
    let cases = file["cases"].as_array().unwrap();
    let case = cases
        .iter()
        .find(|case| case["id"] == "lot.fifo-07")
        .unwrap();
    let mut lots = received(case);
    issue(&mut lots, &case["inputs"]["issues"][0]);
    let left: i64 = lots.iter().map(|lot| lot.balance.value.micro()).sum();
    let published = case["expected"]["published_closing_value"]
        .as_i64()
        .unwrap();
    assert_eq!(left, published * 100, "in cents");
}
