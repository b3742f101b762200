//! What holds of the decision on any file.

use std::collections::HashMap;

use proptest::prelude::*;

use super::books::{day, facts, plan_of, readings, row};
use crate::base::Money;
use crate::purchasing::facts::{LineFacts, LineState, OrderFacts};
use crate::purchasing::goods::{amounts_of, amounts_sum};
use crate::purchasing::import::{ImportOptions, decide};
use crate::purchasing::report::Outcome;

/// Amounts of some rows of some orders, with items, currencies and days that take every way through the costs.
fn any_rows() -> impl Strategy<Value = Vec<String>> {
    let row_of = (
        (0..3_u8, 0..4_usize, 0..3_usize),
        (1_i64..1_000_000, 0_i64..5_000, 0_i64..5_000),
        (0_i64..500, 0_i64..20_000, any::<bool>(), any::<bool>()),
        1..4_u32,
    );
    prop::collection::vec(row_of, 1..12).prop_map(|rows| {
        let cents = |value: i64| format!("{}.{:02}", value / 100, value % 100);
        rows.into_iter()
            .enumerate()
            .map(|(at, ((order, item, money), (price, freight, duty), rest, packs))| {
                let (fees, tax, recovered, ordered) = rest;
                let item = ["item=base", "item=kit-a pack_quantity= unit=", "item=release", "item=tray pack_quantity=7 unit=each"][item];
                let money = ["", "currency=USD", "currency=USD rate=0.87654321"][money];
                let ordered = if ordered { "received_on=" } else { "" };
                row(&format!(
                    "order_no=O-{order} line_no={} packs={packs} {item} {money} {ordered} line_price={} freight={} duty={} fees={} tax={} tax_recoverable={recovered}",
                    at + 1, cents(price), cents(freight), cents(duty), cents(fees), cents(tax)
                ))
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn landed_costs_add_up_to_what_was_paid(lines in any_rows()) {
        let (known, read) = (facts(), readings(&lines));
        let options = ImportOptions { confirm_repeated_freight: true, ..ImportOptions::default() };
        let plan = decide(&read, &known, options);
        prop_assert!(!plan.has_errors(), "{:?}", plan.rows);
        let mut paid = Money::ZERO;
        for row in read.iter().filter_map(|reading| reading.row.as_ref().ok()) {
            if let Some(day) = row.received_on {
                let amounts = amounts_of(row, day, None, &known).map_err(|e| TestCaseError::fail(e.detail))?;
                let sum = amounts_sum(&amounts).map_err(|e| TestCaseError::fail(e.to_string()))?;
                paid = paid.checked_add(sum).map_err(|e| TestCaseError::fail(e.to_string()))?;
            }
        }
        let lots = Money::checked_sum(plan.lots.iter().map(|lot| lot.landed_cost));
        let values = Money::checked_sum(plan.lines.iter().map(|line| line.value));
        prop_assert_eq!((lots, values), (Ok(paid), Ok(paid)));
    }

    #[test]
    fn what_was_decided_once_makes_nothing_new(lines in any_rows()) {
        let (mut known, read) = (facts(), readings(&lines));
        let options = ImportOptions { confirm_repeated_freight: true, ..ImportOptions::default() };
        for line in decide(&read, &known, options).lines {
            let order = known.orders.entry(line.order_no.clone()).or_insert_with(|| OrderFacts {
                id: 300, supplier_id: 70, supplier_name: "North".to_owned(), ordered_on: day("2026-01-20"), lines: HashMap::new(),
            });
            let state = line.received_on.map_or(LineState::Ordered, |_| LineState::Received);
            order.lines.insert(line.line_no, LineFacts { id: 1, state, content: line.content });
        }
        let again = decide(&read, &known, ImportOptions::default());
        prop_assert!(again.lines.is_empty() && again.lots.is_empty() && again.orders.is_empty());
        prop_assert!(again.rows.iter().all(|row| row.outcome == Outcome::AlreadyImported));
    }

    #[test]
    fn any_cells_are_decided_on(cells in prop::collection::vec("[-0-9a-zA-Z.,/ =]{0,8}", 21), twice in any::<bool>()) {
        let quoted: Vec<String> = cells.iter().map(|cell| format!("\"{cell}\"")).collect();
        let line = quoted.join(",");
        let lines = if twice { vec![line.clone(), line] } else { vec![line] };
        let plan = plan_of(&lines, &facts(), ImportOptions::default());
        prop_assert_eq!(plan.rows.len(), lines.len());
        for row in &plan.rows {
            prop_assert_eq!(row.outcome == Outcome::Error, !row.errors.is_empty());
        }
    }
}
