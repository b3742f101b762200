//! Books for tests of the decision: a small catalogue, suppliers, a rate, a closed year, and rows to be decided on.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::base::{Code, Currency, Micro, Quantity, Unit};
use crate::purchasing::csv_file::FileFormat;
use crate::purchasing::facts::{
    GrantFacts, ImportFacts, ItemFacts, ItemKind, LineFacts, LineState, OrderFacts, PartFacts,
    SupplierFacts, SupplierKey,
};
use crate::purchasing::import::{ImportOptions, ImportPlan, decide};
use crate::purchasing::number::DecimalMark;
use crate::purchasing::quoted::{QuotedRate, RateTable};
use crate::purchasing::row::{ReadContext, RowReading, read_purchases};

const HEADER: &str = "order_no,line_no,supplier,ordered_on,received_on,item,lot,packs,pack_quantity,unit,line_price,currency,freight,expires_on,rate,duty,fees,tax,tax_recoverable,kit_lot,funded_by";

pub(super) fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

pub(super) fn readings(lines: &[String]) -> Vec<RowReading> {
    let file = format!("{HEADER}\n{}\n", lines.join("\n"));
    let context = ReadContext {
        decimal: DecimalMark::Point,
        today: day("2026-03-04"),
    };
    read_purchases(file.as_bytes(), &FileFormat::default(), &context).expect("a file")
}

/// A good row with some cells replaced: `"item=tray packs=2"`.
pub(super) fn row(changes: &str) -> String {
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

pub(super) fn item(id: i64, code: &str, kind: ItemKind) -> (String, ItemFacts) {
    let facts = ItemFacts {
        id,
        code: Code::parse(code).expect("a code"),
        retired: code == "gone",
        lead_time_days: (code == "base").then_some(14),
        kind,
    };
    (code.to_owned(), facts)
}

pub(super) fn material(id: i64, code: &str, unit: Unit) -> (String, ItemFacts) {
    let kind = ItemKind::Material {
        unit,
        density_g_per_ml: (unit == Unit::Ml).then(|| Micro::parse("0.8").expect("a density")),
    };
    item(id, code, kind)
}

pub(super) fn kit(id: i64, code: &str, base_g: i32, agent_g: i32) -> (String, ItemFacts) {
    let part = |material_id, code: &str, mass_g| PartFacts {
        material_id,
        code: Code::parse(code).expect("a code"),
        mass_g: Quantity::from_int(mass_g),
    };
    let parts = [part(1, "base", base_g), part(2, "agent", agent_g)];
    item(id, code, ItemKind::Kit(parts))
}

pub(super) fn supplier(name: &str) -> (String, SupplierFacts) {
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

pub(super) fn facts() -> ImportFacts {
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
pub(super) fn facts_after(lines: &[String]) -> ImportFacts {
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

pub(super) fn plan_of(lines: &[String], known: &ImportFacts, options: ImportOptions) -> ImportPlan {
    decide(&readings(lines), known, options)
}
