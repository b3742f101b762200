//! The decision of an import, case by case.

use super::books::{day, facts, facts_after, plan_of, row};
use crate::base::{Money, Quantity};
use crate::purchasing::csv_file::CellError;
use crate::purchasing::facts::{ImportFacts, LineState};
use crate::purchasing::import::{ImportOptions, ImportPlan, PlannedLot};
use crate::purchasing::landed::SpreadBasis;
use crate::purchasing::report::Outcome;

/// Holds each row's outcome against `outcome` or `error COLUMN: part of the detail`.
#[track_caller]
fn check_against(lines: &[&str], known: &ImportFacts, expected: &[&str]) -> ImportPlan {
    let lines: Vec<String> = lines.iter().map(|changes| row(changes)).collect();
    let plan = plan_of(&lines, known, ImportOptions::default());
    check_plan(plan, expected)
}

#[track_caller]
fn check_plan(plan: ImportPlan, expected: &[&str]) -> ImportPlan {
    assert_eq!(plan.rows.len(), expected.len());
    for (row, expected) in plan.rows.iter().zip(expected) {
        match expected.strip_prefix("error ") {
            None => assert_eq!(row.outcome.as_str(), *expected, "{row:?}"),
            Some(fault) => {
                let (column, part) = fault.split_once(": ").expect("column: detail");
                let said = |e: &CellError| e.column == column && e.detail.contains(part);
                assert_eq!(row.outcome, Outcome::Error);
                assert!(row.errors.iter().any(said), "{expected}: {row:?}");
            }
        }
    }
    plan
}

#[track_caller]
fn check(lines: &[&str], expected: &[&str]) -> ImportPlan {
    check_against(lines, &facts(), expected)
}

fn costs(plan: &ImportPlan) -> Vec<String> {
    let cost = |lot: &PlannedLot| lot.landed_cost.to_string();
    plan.lots.iter().map(cost).collect()
}

#[test]
fn a_row_makes_an_order_a_line_and_a_lot() {
    let plan = check(&["funded_by=g-1 expires_on=2027-01-31"], &["created"]);
    let (order, line, lot) = (&plan.orders[0], &plan.lines[0], &plan.lots[0]);
    assert_eq!(
        (order.order_no.as_str(), order.supplier.as_str()),
        ("O-1", "North")
    );
    assert_eq!(
        (line.line_no, line.known_id, line.item_id, line.packs),
        (1, None, 1, 2)
    );
    assert_eq!(line.value, Money::from_int(100));
    assert_eq!(
        (lot.material_id, lot.lot.as_str(), lot.funded_by_id),
        (1, "L1", Some(80))
    );
    assert_eq!(
        (lot.packs, lot.pack_quantity),
        (2, Quantity::from_int(1_100))
    );
    assert_eq!(lot.expires_on, Some(day("2027-01-31")));
    assert_eq!((lot.kit_lot.as_deref(), lot.kit_id), (None, None));
    assert_eq!(plan.rows[0].lots.len(), 1);
}

#[test]
fn without_a_day_of_receipt_it_is_on_order_until_its_lead_time() {
    let plan = check(
        &[
            "received_on= lot=",
            "line_no=2 received_on= lot= item=agent",
        ],
        &["ordered", "ordered"],
    );
    assert!(plan.lots.is_empty() && plan.orders.len() == 1);
    let expected: Vec<_> = plan.lines.iter().map(|line| line.expected_on).collect();
    // The item's lead time, or else the supplier's.
    assert_eq!(expected, [Some(day("2026-02-03")), Some(day("2026-02-19"))]);
    assert!(plan.lines.iter().all(|line| line.value == Money::ZERO));
}

#[test]
fn what_is_not_in_the_catalogue_or_retired_is_an_error() {
    check(&["item=resin"], &["error item: no material or kit"]);
    check(&["item=BASE"], &["error item: write \"base\""]);
    check(&["item=gone"], &["error item: retired"]);
    check(&["funded_by=g-2"], &["error funded_by: no grant"]);
    check(&["funded_by=g-old"], &["error funded_by: retired"]);
    check(&["supplier=Gone"], &["error supplier: retired"]);
    check(
        &["received_on=2025-12-31 ordered_on=2025-12-01"],
        &["error received_on: closed through 2025-12-31"],
    );
    check(
        &["received_on=2026-03-05"],
        &["error received_on: in the future"],
    );
}

#[test]
fn every_fault_of_every_row_is_said() {
    let plan = check(
        &[
            "item=resin funded_by=g-2 supplier=Gone",
            "line_no=2 packs=0",
            "order_no=O-2",
        ],
        &["error item: no material", "error packs: whole", "created"],
    );
    assert_eq!(plan.rows[0].errors.len(), 3);
    assert!(plan.has_errors());
    assert!(plan.orders.is_empty() && plan.lines.is_empty() && plan.lots.is_empty());
    assert_eq!(plan.rows[2].lots.len(), 1, "what the good row would bring");
    assert_eq!(plan.into_preview().lots_created, 0);
}

#[test]
fn units_are_converted_and_must_fit() {
    let plan = check(
        &["item=release packs=1 pack_quantity=80 unit=g"],
        &["created"],
    );
    assert_eq!(plan.lots[0].pack_quantity, Quantity::from_int(100));
    check(&["unit=m"], &["error unit: g"]);
    check(
        &["unit= pack_quantity="],
        &["error pack_quantity: what one pack holds"],
    );
    check(
        &["item=tray unit=each pack_quantity=1.5"],
        &["error pack_quantity: whole number"],
    );
}

#[test]
fn a_kit_makes_two_lots_of_one_kit_lot_and_splits_its_cost_by_mass() {
    let plan = check(
        &["item=kit-a pack_quantity= unit= line_price=220"],
        &["created"],
    );
    let lots: Vec<_> = plan
        .lots
        .iter()
        .map(|lot| {
            let kit_lot = lot.kit_lot.as_deref();
            (lot.material.as_str(), lot.packs, lot.lot.as_str(), kit_lot)
        })
        .collect();
    assert_eq!(
        lots,
        [
            ("base", 2, "L1", Some("L1")),
            ("agent", 2, "L1", Some("L1"))
        ]
    );
    assert_eq!(costs(&plan), ["200", "20"]);
    assert!(
        plan.lots
            .iter()
            .all(|lot| lot.kit_id == Some(10) && lot.line == 0)
    );
    assert_eq!(plan.lines[0].pack_quantity, None);
    let named = check(
        &["item=kit-a pack_quantity= unit= kit_lot=K7"],
        &["created"],
    );
    assert!(
        named
            .lots
            .iter()
            .all(|lot| lot.kit_lot.as_deref() == Some("K7"))
    );
}

#[test]
fn a_kits_content_may_be_repeated_but_not_contradicted() {
    check(&["item=kit-a pack_quantity=1 unit=each"], &["created"]);
    check(&["item=kit-a pack_quantity=1.1 unit=kg"], &["created"]);
    check(
        &["item=kit-a pack_quantity=1.2 unit=kg"],
        &["error pack_quantity: leave pack_quantity and unit blank"],
    );
    check(
        &["item=kit-a pack_quantity=2 unit=each"],
        &["error pack_quantity: number of kits in packs"],
    );
    check(
        &["item=kit-big pack_quantity= unit= packs=501"],
        &["error packs: at most 1000000000 g"],
    );
}

#[test]
fn the_same_line_again_makes_nothing() {
    let known = facts_after(&[row(""), row("line_no=2 received_on= lot=")]);
    let plan = check_against(
        &[
            "pack_quantity=1100 unit=g line_price=100.00",
            "line_no=2 received_on= lot=",
        ],
        &known,
        &["already_imported", "already_imported"],
    );
    assert!(plan.lines.is_empty() && plan.orders.is_empty() && plan.lots.is_empty());
}

#[test]
fn what_is_in_the_books_stays_so_whatever_was_retired_or_closed_since() {
    let mut known = facts_after(&[row("funded_by=g-1")]);
    known.closed_through = Some(day("2026-03-01"));
    known.items.clear();
    known.grants.clear();
    check_against(&["funded_by=g-1"], &known, &["already_imported"]);
}

#[test]
fn another_content_names_its_columns() {
    let known = facts_after(&[row("")]);
    let plan = check_against(
        &["line_price=101 lot=L2"],
        &known,
        &["error line_price: in the books with another line_price, \"100\""],
    );
    let columns: Vec<&str> = plan.rows[0]
        .errors
        .iter()
        .map(|e| e.column.as_str())
        .collect();
    assert_eq!(columns, ["lot", "line_price"]);
    check_against(
        &["received_on= lot="],
        &known,
        &["error received_on: another received_on, \"2026-02-03\""],
    );
}

#[test]
fn a_line_on_order_is_received_when_it_arrives() {
    let known = facts_after(&[row("received_on= lot="), row("line_no=2 received_on= lot=")]);
    let plan = check_against(&["freight=10"], &known, &["created"]);
    let line = &plan.lines[0];
    assert_eq!(
        (line.known_id, line.received_on),
        (Some(501), Some(day("2026-02-03")))
    );
    assert_eq!(line.value, Money::from_int(110));
    assert!(plan.orders.is_empty());
    assert_eq!(costs(&plan), ["110"]);
    check_against(
        &["line_no=2 packs=3"],
        &known,
        &["error packs: another packs, \"2\""],
    );
}

#[test]
fn what_was_cancelled_does_not_arrive() {
    let mut known = facts_after(&[row("received_on= lot=")]);
    for line in known.orders.values_mut().flat_map(|o| o.lines.values_mut()) {
        line.state = LineState::Cancelled;
    }
    check_against(&[""], &known, &["error received_on: is cancelled"]);
    let plan = check_against(&["received_on= lot="], &known, &["already_imported"]);
    assert!(plan.rows[0].warnings[0].detail.contains("cancelled"));
}

#[test]
fn a_row_twice_counts_once_and_two_rows_of_one_number_contradict() {
    let plan = check(&["", ""], &["created", "already_imported"]);
    assert_eq!(plan.lots.len(), 1);
    assert!(
        plan.rows[1].warnings[0]
            .detail
            .contains("line 2 of the file already")
    );
    assert!(plan.rows[0].warnings.is_empty());
    check(
        &["", "line_price=101"],
        &[
            "created",
            "error line_price: line 2 of the file with another line_price",
        ],
    );
    check(
        &["received_on= lot=", ""],
        &["ordered", "error received_on: with another received_on"],
    );
}

#[test]
fn an_order_has_one_supplier_and_one_day() {
    check(
        &["", "line_no=2 supplier=South ordered_on=2026-01-21"],
        &["created", "error supplier: on line 2 of the file"],
    );
    check(
        &["", "line_no=2 ordered_on=2026-01-21"],
        &["created", "error ordered_on: has the day 2026-01-20"],
    );
    // Two writings of one supplier are one.
    check(
        &["supplier=South", "line_no=2 supplier=SOUTH"],
        &["created", "created"],
    );
    let known = facts_after(&[row("")]);
    check_against(
        &["line_no=2 supplier=South"],
        &known,
        &["error supplier: the supplier \"North\" in the books"],
    );
    let plan = check_against(&["line_no=2"], &known, &["created"]);
    assert!(plan.orders.is_empty());
}

#[test]
fn freight_duty_and_fees_are_spread_by_value_over_what_arrived() {
    let plan = check(
        &[
            "line_price=30 freight=10 duty=4",
            "line_no=2 line_price=10 fees=2",
            "line_no=3 line_price=40 received_on= lot= freight=99",
            "order_no=O-2 line_price=5",
        ],
        &["created", "created", "ordered", "created"],
    );
    assert_eq!(costs(&plan), ["42", "14", "5"]);
    // A third that cannot be had: the largest remainder, and ties go to the first.
    let thirds = check(
        &[
            "line_price=1 freight=0.01",
            "line_no=2 line_price=1",
            "line_no=3 line_price=1",
        ],
        &["created", "created", "created"],
    );
    assert_eq!(costs(&thirds), ["1.003334", "1.003333", "1.003333"]);
}

#[test]
fn lines_that_come_later_bear_their_own_freight_only() {
    let known = facts_after(&[row("freight=10"), row("line_no=2 received_on= lot=")]);
    let plan = check_against(
        &["freight=10", "line_no=2 freight=3", "line_no=3"],
        &known,
        &["already_imported", "created", "created"],
    );
    assert_eq!(costs(&plan), ["101.5", "101.5"]);
}

#[test]
fn the_same_freight_on_every_row_must_be_confirmed() {
    let says = "error freight: confirm_repeated_freight=true";
    check(&["freight=10", "line_no=2 freight=10"], &[says, says]);
    check(
        &["freight=10", "line_no=2 freight=9"],
        &["created", "created"],
    );
    check(&["freight=10", "line_no=2"], &["created", "created"]);
    check(
        &["freight=10", "freight=10"],
        &["created", "already_imported"],
    );
    check(
        &["freight=10 currency=USD", "line_no=2 freight=10"],
        &["created", "created"],
    );
    let lines = [row("freight=10"), row("line_no=2 freight=10")];
    let confirmed = ImportOptions {
        confirm_repeated_freight: true,
        ..ImportOptions::default()
    };
    let plan = check_plan(
        plan_of(&lines, &facts(), confirmed),
        &["created", "created"],
    );
    assert_eq!(costs(&plan), ["110", "110"]);
    // Once it is in the books, it need not be confirmed again.
    let mut known = facts_after(&[row("freight=10")]);
    let second = facts_after(&[row("line_no=2 freight=10")]);
    let lines_of = |f: &ImportFacts| f.orders["O-1"].lines.clone();
    let both = lines_of(&known)
        .into_iter()
        .chain(lines_of(&second))
        .collect();
    if let Some(order) = known.orders.get_mut("O-1") {
        order.lines = both;
    }
    check_against(
        &["freight=10", "line_no=2 freight=10"],
        &known,
        &["already_imported", "already_imported"],
    );
}

#[test]
fn an_order_worth_nothing_cannot_bear_freight() {
    check(
        &["line_price=0 freight=5"],
        &["error freight: no positive base to allocate over"],
    );
    let plan = check(
        &["line_price=0 duty=5", "line_no=2 line_price=0"],
        &["error duty: no positive base", "created"],
    );
    assert!(plan.has_errors());
    assert_eq!(costs(&check(&["line_price=0"], &["created"])), ["0"]);
}

#[test]
fn freight_can_be_spread_by_mass_or_count() {
    let lines = [
        row("line_price=0 freight=6 packs=1"),
        row("line_no=2 line_price=0 packs=2"),
    ];
    let by = |spread_by| ImportOptions {
        spread_by,
        ..ImportOptions::default()
    };
    let both = &["created", "created"];
    let mass = check_plan(plan_of(&lines, &facts(), by(SpreadBasis::Mass)), both);
    assert_eq!(costs(&mass), ["2", "4"]);
    let count = check_plan(plan_of(&lines, &facts(), by(SpreadBasis::Count)), both);
    assert_eq!(costs(&count), ["2", "4"]);
    let trays = [
        row("freight=6"),
        row("line_no=2 item=tray unit=each pack_quantity=5"),
    ];
    let plan = plan_of(&trays, &facts(), by(SpreadBasis::Mass));
    check_plan(plan, &["created", "error unit: has no mass"]);
}

#[test]
fn tax_that_is_not_recovered_is_part_of_the_cost() {
    let plan = check(&["tax=19 tax_recoverable=no"], &["created"]);
    assert_eq!(costs(&plan), ["119"]);
    let plan = check(&["tax=19 tax_recoverable=yes"], &["created"]);
    assert_eq!(costs(&plan), ["100"]);
}

#[test]
fn another_currency_needs_a_rate() {
    // The rate of the row, else that of the day or of the week before it.
    assert_eq!(
        costs(&check(&["currency=USD rate=0.8"], &["created"])),
        ["80"]
    );
    assert_eq!(costs(&check(&["currency=USD"], &["created"])), ["90"]);
    check(
        &["currency=USD received_on=2026-02-10"],
        &["error rate: no exchange rate from USD to EUR for 2026-02-10"],
    );
    check(&["currency=NOK"], &["error rate: NOK"]);
    check(&["rate=2"], &["error rate: leave rate blank"]);
    check(&["rate=1.0"], &["created"]);
    // What is on order has no cost yet, and so needs no rate.
    check(&["currency=NOK received_on= lot="], &["ordered"]);
}

#[test]
fn a_file_brings_no_more_packs_than_can_be_written_at_once() {
    let lines: Vec<String> = (1..=101)
        .map(|no| row(&format!("line_no={no} packs=10000 pack_quantity=1 unit=g")))
        .collect();
    let plan = plan_of(&lines, &facts(), ImportOptions::default());
    let bad: Vec<u64> = plan
        .rows
        .iter()
        .filter(|r| r.outcome == Outcome::Error)
        .map(|r| r.line)
        .collect();
    assert_eq!(bad, [102]);
    assert!(plan.rows[100].errors[0].detail.contains("split the file"));
}
