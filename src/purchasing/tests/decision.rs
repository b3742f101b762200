//! The decision of an import, case by case, and what holds of any file.

use std::collections::HashMap;

use chrono::NaiveDate;
use proptest::prelude::*;

use crate::base::{Code, Currency, Micro, Money, Quantity, Unit};
use crate::purchasing::csv_file::FileFormat;
use crate::purchasing::facts::{
    GrantFacts, ImportFacts, ItemFacts, ItemKind, LineFacts, LineState, OrderFacts, PartFacts,
    SupplierFacts, SupplierKey,
};
use crate::purchasing::goods::{amounts_of, amounts_sum};
use crate::purchasing::import::{ImportOptions, ImportPlan, decide};
use crate::purchasing::landed::SpreadBasis;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::quoted::{QuotedRate, RateTable};
use crate::purchasing::report::Outcome;
use crate::purchasing::row::{ReadContext, RowReading, read_purchases};

const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on,rate,duty,fees,tax,tax_recoverable,kit_lot,funded_by";

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn readings(lines: &[String]) -> Vec<RowReading> {
    let file = format!("{HEADER}\n{}\n", lines.join("\n"));
    let context = ReadContext {
        decimal: DecimalMark::Point,
        today: day("2026-03-04"),
    };
    read_purchases(file.as_bytes(), &FileFormat::default(), &context).expect("a file")
}

/// A good row with some cells replaced: `"item=tray packs=2"`.
fn row(changes: &str) -> String {
    let mut cells: HashMap<&str, &str> = HashMap::from([
        ("order_no", "O-1"),
        ("line_no", "1"),
        ("supplier", "North"),
        ("ordered_on", "2026-01-20"),
        ("received_on", "2026-02-03"),
        ("item", "base"),
        ("lot", "L1"),
        ("packs", "2"),
        ("pack_quantity", "1.1"),
        ("unit", "kg"),
        ("line_price", "100"),
        ("currency", "EUR"),
    ]);
    for change in changes.split_whitespace() {
        let (column, value) = change.split_once('=').expect("column=value");
        assert!(HEADER.split(',').any(|name| name == column), "{column}");
        cells.insert(column, value);
    }
    let line: Vec<&str> = HEADER
        .split(',')
        .map(|name| cells.get(name).copied().unwrap_or_default())
        .collect();
    line.join(",")
}

fn item(id: i64, code: &str, kind: ItemKind) -> (String, ItemFacts) {
    let facts = ItemFacts {
        id,
        code: Code::parse(code).expect("a code"),
        retired: code == "gone",
        lead_time_days: (code == "base").then_some(14),
        kind,
    };
    (code.to_owned(), facts)
}

fn material(id: i64, code: &str, unit: Unit) -> (String, ItemFacts) {
    let kind = ItemKind::Material {
        unit,
        density_g_per_ml: (unit == Unit::Ml).then(|| Micro::parse("0.8").expect("a density")),
    };
    item(id, code, kind)
}

fn kit(id: i64, code: &str, base_g: i32, agent_g: i32) -> (String, ItemFacts) {
    let part = |material_id, code: &str, mass_g| PartFacts {
        material_id,
        code: Code::parse(code).expect("a code"),
        mass_g: Quantity::from_int(mass_g),
    };
    let parts = [part(1, "base", base_g), part(2, "agent", agent_g)];
    item(id, code, ItemKind::Kit(parts))
}

fn supplier(name: &str) -> (String, SupplierFacts) {
    let key = match name {
        "North" => SupplierKey::Known(70),
        "Gone" => SupplierKey::Known(71),
        other => SupplierKey::New(other.to_lowercase()),
    };
    let facts = SupplierFacts {
        key,
        retired: name == "Gone",
        lead_time_days: Some(30),
    };
    (name.to_owned(), facts)
}

fn facts() -> ImportFacts {
    let usd = Currency::parse("USD").expect("a currency");
    let mut rates = RateTable::default();
    let rate = QuotedRate::parse("0.9").expect("a rate");
    rates.insert(usd, day("2026-02-02"), rate);
    let grant = |id, retired| GrantFacts { id, retired };
    ImportFacts {
        base_currency: Currency::parse("EUR").expect("a currency"),
        closed_through: Some(day("2025-12-31")),
        items: HashMap::from([
            material(1, "base", Unit::G),
            material(2, "agent", Unit::G),
            material(3, "tray", Unit::Each),
            material(4, "release", Unit::Ml),
            material(5, "gone", Unit::G),
            kit(10, "kit-a", 1_000, 100),
            kit(11, "kit-big", 1_000_000, 1_000_000),
        ]),
        grants: HashMap::from([
            ("g-1".to_owned(), grant(80, false)),
            ("g-old".to_owned(), grant(81, true)),
        ]),
        suppliers: ["North", "South", "SOUTH", "Gone"].map(supplier).into(),
        orders: HashMap::new(),
        rates,
    }
}

/// The facts once a file's rows are in the books; the ids of lines are 501 and following.
fn facts_after(lines: &[String]) -> ImportFacts {
    let mut known = facts();
    let read = readings(lines);
    let plan = decide(&read, &known, ImportOptions::default());
    assert!(!plan.has_errors(), "{plan:?}");
    for (at, line) in plan.lines.iter().enumerate() {
        let order = known.orders.entry(line.order_no.clone());
        let order = order.or_insert_with(|| OrderFacts {
            id: 300,
            supplier_id: 70,
            supplier_name: "North".to_owned(),
            ordered_on: day("2026-01-20"),
            lines: HashMap::new(),
        });
        let state = match line.received_on {
            Some(_) => LineState::Received,
            None => LineState::Ordered,
        };
        let stored = LineFacts {
            id: 501 + at as i64,
            state,
            content: line.content.clone(),
        };
        order.lines.insert(line.line_no, stored);
    }
    known
}

fn plan_of(lines: &[String], known: &ImportFacts, options: ImportOptions) -> ImportPlan {
    decide(&readings(lines), known, options)
}

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
                let said = |e: &crate::purchasing::csv_file::CellError| {
                    e.column == column && e.detail.contains(part)
                };
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
    let cost = |lot: &crate::purchasing::import::PlannedLot| lot.landed_cost.to_string();
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
