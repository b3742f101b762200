//! What holds of any bytes that are sent as a file of purchases or of exchange rates, under every delimiter, encoding and
//! decimal mark.
//!
//! Invariants: nothing panics; a file is read as another library reads it, or refused; a file written again from what was
//! read reads the same; a good row keeps its promises; what is decided adds up, and does nothing when it is sent again.

use std::collections::{HashMap, HashSet};

use chrono::NaiveDate;
use heeltap::base::{Code, Currency, Micro, Money, Quantity, Unit};
use heeltap::purchasing::csv_file::{
    CellError, Column, Delimiter, Encoding, FileError, FileFormat, Limits, Records, Table, decode,
    read_table,
};
use heeltap::purchasing::facts::{
    GrantFacts, ImportFacts, ItemFacts, ItemKind, LineFacts, LineState, OrderFacts, PartFacts,
    SupplierFacts, SupplierKey,
};
use heeltap::purchasing::goods::{amounts_of, amounts_sum};
use heeltap::purchasing::identity::{Comparison, RowContent, compare};
use heeltap::purchasing::import::{ImportOptions, ImportPlan, decide};
use heeltap::purchasing::number::DecimalMark;
use heeltap::purchasing::quoted::{QuotedRate, RateTable};
use heeltap::purchasing::rate_file::{RATE_COLUMNS, RateContext, decide_rates, read_rates};
use heeltap::purchasing::rate_report::RateOutcome;
use heeltap::purchasing::report::Outcome;
use heeltap::purchasing::row::{
    COLUMNS, PACKS_MAX, PurchaseRow, ReadContext, RowReading, read_purchases,
};

/// The day on which the files are read.
const TODAY: &str = "2026-03-04";

/// Reads the bytes in every way in which a sender may ask for it, and holds what came of it against what must hold.
pub(crate) fn check(bytes: &[u8]) {
    for encoding in [Encoding::Utf8, Encoding::Windows1252] {
        let text = decode(bytes, encoding);
        if let Err(error) = &text {
            names_a_line(error, bytes);
        }
        for delimiter in Delimiter::ALL {
            let format = FileFormat {
                delimiter,
                encoding,
                limits: Limits::default(),
            };
            if let Ok(text) = &text {
                another_library_reads_the_same(text, &format);
            }
            for columns in [COLUMNS, RATE_COLUMNS] {
                match read_table(bytes, columns, &format) {
                    Err(error) => names_a_line(&error, bytes),
                    Ok(table) => {
                        reads_the_same_when_written_again(&table, columns);
                        purchases(bytes, &format);
                        rates(bytes, &format);
                    }
                }
            }
        }
    }
}

/// What refuses a file says something, and of a line that the file has.
fn names_a_line(error: &FileError, bytes: &[u8]) {
    let lines = 1 + bytes.iter().filter(|byte| **byte == b'\n').count() as u64;
    assert!(error.line().is_none_or(|line| (1..=lines).contains(&line)));
    assert!(!error.to_string().is_empty());
}

/// Ours is the stricter reader: whatever it takes, the `csv` library reads as the same records.
fn another_library_reads_the_same(text: &str, format: &FileFormat) {
    // The library takes a second byte order mark away, and an empty line for no record.
    if text.starts_with('\u{feff}') {
        return;
    }
    let ours: Result<Vec<_>, _> = Records::new(text, format.delimiter, format.limits).collect();
    let Ok(ours) = ours else { return };
    let lines: Vec<u64> = ours.iter().map(|record| record.line).collect();
    assert!(lines.is_sorted_by(|earlier, later| earlier < later));
    let byte = match format.delimiter {
        Delimiter::Comma => b',',
        Delimiter::Semicolon => b';',
        Delimiter::Tab => b'\t',
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(byte)
        .from_reader(text.as_bytes());
    let theirs = reader.records().map(|record| {
        let record = record.expect("text that is UTF-8");
        record.iter().map(str::to_owned).collect::<Vec<_>>()
    });
    let holds_something = |fields: &Vec<String>| *fields != [""];
    let theirs: Vec<_> = theirs.filter(holds_something).collect();
    let ours = ours.into_iter().map(|record| record.fields);
    assert_eq!(ours.filter(holds_something).collect::<Vec<_>>(), theirs);
}

fn reads_the_same_when_written_again(table: &Table, columns: &'static [Column]) {
    let names: Vec<&str> = table.columns().collect();
    let whole = |table: &Table| -> Vec<Vec<String>> {
        let rows = table.rows().filter(|row| row.check_width().is_ok());
        let cells = rows.map(|row| names.iter().map(|name| row.get(name).to_owned()).collect());
        cells.collect()
    };
    let rows = whole(table);
    let mut text = names.join(",");
    for row in &rows {
        let quoted = row
            .iter()
            .map(|cell| format!("\"{}\"", cell.replace('"', "\"\"")));
        text.push_str("\r\n");
        text.push_str(&quoted.collect::<Vec<_>>().join(","));
    }
    let again = read_table(text.as_bytes(), columns, &FileFormat::default());
    assert_eq!(again.map(|again| whole(&again)), Ok(rows));
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn purchases(bytes: &[u8], format: &FileFormat) {
    for decimal in [DecimalMark::Point, DecimalMark::Comma] {
        let context = ReadContext {
            decimal,
            today: day(TODAY),
        };
        let Ok(readings) = read_purchases(bytes, format, &context) else {
            return;
        };
        for reading in &readings {
            match &reading.row {
                Ok(row) => keeps_its_promises(row, context.today),
                Err(errors) => name_their_columns(errors, COLUMNS),
            }
        }
        for confirm_repeated_freight in [false, true] {
            let options = ImportOptions {
                confirm_repeated_freight,
                ..ImportOptions::default()
            };
            adds_up(&readings, options);
        }
    }
}

fn name_their_columns(errors: &[CellError], columns: &[Column]) {
    assert!(!errors.is_empty(), "a row is refused for no reason");
    for error in errors {
        let known = columns.iter().any(|column| column.name == error.column);
        assert!(known || error.column == "row", "{error:?}");
        assert!(!error.detail.is_empty(), "{error:?}");
        assert!(error.value.chars().count() <= CellError::VALUE_MAX_CHARS + 1);
    }
}

fn keeps_its_promises(row: &PurchaseRow, today: NaiveDate) {
    assert!((1..=PACKS_MAX).contains(&row.packs), "{row:?}");
    assert!(row.ordered_on <= today, "{row:?}");
    let received = row.received_on;
    assert!(received.is_none_or(|day| row.ordered_on <= day && day <= today));
    assert!(received.is_none() || row.lot.is_some(), "{row:?}");
    for amount in [row.line_price, row.freight, row.duty, row.fees, row.tax] {
        assert!(!amount.is_negative(), "{row:?}");
        assert!(!row.currency.is_finer_than_minor(amount), "{row:?}");
    }
    let content = RowContent::of(row);
    let kept = RowContent::parse(&content.text()).expect("what was written");
    assert_eq!(kept.text(), content.text());
    assert_eq!(compare(&kept, &content), Comparison::Same);
}

/// What is decided on readings does nothing with one row in error; else the lots cost what was paid, and the same file sent
/// again makes nothing.
fn adds_up(readings: &[RowReading], options: ImportOptions) {
    let mut known = books(readings);
    let plan = decide(readings, &known, options);
    assert_eq!(plan.rows.len(), readings.len());
    for row in &plan.rows {
        assert_eq!(row.outcome == Outcome::Error, !row.errors.is_empty());
    }
    if plan.has_errors() {
        assert!(plan.lines.is_empty() && plan.lots.is_empty() && plan.orders.is_empty());
        return;
    }
    let sum = Money::checked_sum(plan.lots.iter().map(|lot| lot.landed_cost));
    assert_eq!(sum, Ok(paid(readings, &plan, &known)));
    for lot in &plan.lots {
        assert!(lot.packs > 0 && lot.pack_quantity.is_positive(), "{lot:?}");
        assert!(!lot.landed_cost.is_negative(), "{lot:?}");
    }
    enter(&plan, &mut known);
    let again = decide(readings, &known, options);
    assert!(again.lines.is_empty() && again.lots.is_empty() && again.orders.is_empty());
    let done =
        |row: &heeltap::purchasing::report::RowReport| row.outcome == Outcome::AlreadyImported;
    assert!(again.rows.iter().all(done), "{again:?}");
}

/// What was paid for the rows that arrive, in the currency of the books.
fn paid(readings: &[RowReading], plan: &ImportPlan, known: &ImportFacts) -> Money {
    let created = plan.rows.iter().map(|row| row.outcome == Outcome::Created);
    let arrived = readings.iter().zip(created).filter(|(_, created)| *created);
    let amounts = arrived.map(|(reading, _)| {
        let row = reading.row.as_ref().expect("a row that is imported");
        let day = row.received_on.expect("a row that has arrived");
        let amounts = amounts_of(row, day, None, known).expect("amounts that were landed");
        amounts_sum(&amounts).expect("a sum that was landed")
    });
    Money::checked_sum(amounts).expect("a sum that was landed")
}

/// Puts what was decided into the books.
fn enter(plan: &ImportPlan, known: &mut ImportFacts) {
    for line in &plan.lines {
        let order = known.orders.entry(line.order_no.clone());
        let order = order.or_insert_with(|| {
            let made = plan
                .orders
                .iter()
                .find(|made| made.order_no == line.order_no);
            let made = made.expect("an order for the line");
            let key = known
                .suppliers
                .get(&made.supplier)
                .map(|supplier| &supplier.key);
            OrderFacts {
                id: 300,
                supplier_id: match key {
                    Some(SupplierKey::Known(id)) => *id,
                    _ => 99,
                },
                supplier_name: made.supplier.clone(),
                ordered_on: made.ordered_on,
                lines: HashMap::new(),
            }
        });
        let state = match line.received_on {
            Some(_) => LineState::Received,
            None => LineState::Ordered,
        };
        let content = line.content.clone();
        order.lines.insert(
            line.line_no,
            LineFacts {
                id: 1,
                state,
                content,
            },
        );
    }
}

fn item(id: i64, code: &str, kind: ItemKind) -> (String, ItemFacts) {
    let facts = ItemFacts {
        id,
        code: Code::parse(code).expect("a code"),
        retired: code == "gone",
        lead_time_days: Some(14),
        kind,
    };
    (code.to_owned(), facts)
}

/// Books with a small catalogue, a rate, a closed year, and every supplier that the rows name.
fn books(readings: &[RowReading]) -> ImportFacts {
    let material = |id, code: &str, unit, density: Option<&str>| {
        let density = density.map(|text| Micro::parse(text).expect("a density"));
        item(
            id,
            code,
            ItemKind::Material {
                unit,
                density_g_per_ml: density,
            },
        )
    };
    let part = |material_id, code: &str, mass_g| PartFacts {
        material_id,
        code: Code::parse(code).expect("a code"),
        mass_g: Quantity::from_int(mass_g),
    };
    let grant = |id, retired| GrantFacts { id, retired };
    let mut rates = RateTable::default();
    let dollar = Currency::parse("USD").expect("a currency");
    rates.insert(
        dollar,
        day("2026-02-02"),
        QuotedRate::parse("0.9").expect("a rate"),
    );
    let rows = readings
        .iter()
        .filter_map(|reading| reading.row.as_ref().ok());
    let suppliers = rows.map(|row| {
        let key = match row.supplier.as_str() {
            "North" => SupplierKey::Known(70),
            other => SupplierKey::New(other.to_lowercase()),
        };
        let facts = SupplierFacts {
            key,
            retired: false,
            lead_time_days: None,
        };
        (row.supplier.clone(), facts)
    });
    ImportFacts {
        base_currency: Currency::parse("EUR").expect("a currency"),
        closed_through: Some(day("2025-12-31")),
        items: HashMap::from([
            material(1, "base", Unit::G, Some("1.03")),
            material(2, "agent", Unit::G, None),
            material(3, "tray", Unit::Each, None),
            material(4, "release", Unit::Ml, Some("0.8")),
            material(5, "gone", Unit::G, None),
            material(6, "tape", Unit::M, None),
            item(
                10,
                "kit-a",
                ItemKind::Kit([part(1, "base", 1_000), part(2, "agent", 100)]),
            ),
        ]),
        grants: HashMap::from([
            ("g-1".to_owned(), grant(80, false)),
            ("g-old".to_owned(), grant(81, true)),
        ]),
        suppliers: suppliers.collect(),
        orders: HashMap::new(),
        rates,
    }
}

fn rates(bytes: &[u8], format: &FileFormat) {
    for decimal in [DecimalMark::Point, DecimalMark::Comma] {
        let context = RateContext {
            decimal,
            today: day(TODAY),
            base_currency: Currency::parse("EUR").expect("a currency"),
        };
        let Ok(readings) = read_rates(bytes, format, &context) else {
            return;
        };
        let mut named = HashSet::new();
        for reading in &readings {
            match &reading.row {
                Ok(row) => {
                    assert_eq!(QuotedRate::parse(&row.quoted.text()), Ok(row.quoted));
                    assert!(row.rate_on <= context.today && row.currency != context.base_currency);
                    assert!(
                        named.insert((row.currency, row.rate_on)),
                        "{row:?} stands twice"
                    );
                }
                Err(errors) => name_their_columns(errors, RATE_COLUMNS),
            }
        }
        let plan = decide_rates(readings, &HashMap::new());
        assert_eq!(
            plan.has_errors(),
            plan.rows.iter().any(|row| !row.errors.is_empty())
        );
        let kept = plan.puts.iter().map(|put| {
            let kept = (put.quoted.text(), put.source.clone());
            ((put.currency, put.rate_on), kept)
        });
        let kept: HashMap<_, _> = kept.collect();
        assert!(!plan.has_errors() || kept.is_empty());
        let again = read_rates(bytes, format, &context).expect("a file that was read");
        let again = decide_rates(again, &kept);
        assert!(plan.has_errors() || again.puts.is_empty());
        let unchanged = |row: &heeltap::purchasing::rate_report::RateRowReport| {
            row.outcome == RateOutcome::Unchanged
        };
        assert!(plan.has_errors() || again.rows.iter().all(unchanged));
    }
}
