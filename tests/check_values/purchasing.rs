//! The published and recommended check values for reading purchases: CSV, numbers, dates, units, rounding,
//! apportionment, landed cost, currencies.
//!
//! Each case stands in `purchasing.json` beside its source. Where our outcome differs from a recommended one,
//! the test says why ours is better.

use chrono::NaiveDate;
use heeltap::base::{
    Currency, Micro, Money, Quantity, Unit, UnitError, apportion, convert, convert_by_density,
    factor, round_half_even_div,
};
use heeltap::purchasing::csv_file::{Delimiter, Encoding, FileFormat, Limits, Records, read_table};
use heeltap::purchasing::date::{serial_1900, serial_1904};
use heeltap::purchasing::identity::{Comparison, repeats};
use heeltap::purchasing::landed::{LineAmounts, SpreadBasis, land_order};
use heeltap::purchasing::number::DecimalMark;
use heeltap::purchasing::row::{COLUMNS, PurchaseRow, ReadContext, RowReading, read_purchases};
use serde_json::Value;

use crate::hostile::{Reading, WARNED, cases, hostile_bytes, reading, refusal, text};

fn integers(value: &Value) -> Vec<i64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_i64().unwrap())
        .collect()
}

/// A decimal of any size as an exact ratio.
fn ratio(decimal: &str) -> (i128, i128) {
    let (mantissa, exponent) = decimal.split_once(['e', 'E']).unwrap_or((decimal, "0"));
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits: i128 = format!("{whole}{fraction}").parse().unwrap();
    let places = fraction.len() as i32 - exponent.parse::<i32>().unwrap();
    if places >= 0 {
        (digits, 10_i128.pow(places as u32))
    } else {
        (digits * 10_i128.pow(places.unsigned_abs()), 1)
    }
}

#[test]
fn money_round() {
    for case in cases("money.round") {
        let amount = text(&case["inputs"]["amount"]);
        let decimals = case["inputs"]["decimals"].as_u64().unwrap() as u32;
        let expected = case["expected"]["minor_units"].as_i64().unwrap();
        let (num, den) = ratio(amount);
        let got = round_half_even_div(num * 10_i128.pow(decimals), den);
        assert_eq!(got, Some(i128::from(expected)), "{case}");
        // An amount that can be entered at all goes through the currency as well.
        let code = ["JPY", "", "EUR", "BHD"][decimals as usize];
        if let Ok(money) = Money::parse(amount) {
            let currency = Currency::parse(code).unwrap();
            assert_eq!(currency.minor_units(money), expected, "{case}");
            assert_eq!(
                currency.format(money),
                text(&case["expected"]["text"]),
                "{case}"
            );
        }
    }
}

#[test]
fn money_apportion() {
    for case in cases("money.apportion") {
        let weights: Vec<i64> = case["inputs"]["weights"]
            .as_array()
            .unwrap()
            .iter()
            .map(|w| match w {
                Value::String(decimal) => Micro::parse(decimal).unwrap().micro(),
                number => number.as_i64().unwrap(),
            })
            .collect();
        let total = case["inputs"]["total_minor"].as_i64().unwrap();
        let expected = integers(&case["expected"]["shares_minor"]);
        assert_eq!(apportion(total, &weights), Ok(expected), "{case}");
    }
}

/// An order whose whole freight stands on its first line.
fn order(case: &Value) -> Vec<LineAmounts> {
    let freight = case["inputs"]["freight_minor"].as_i64().unwrap();
    let price = |value| LineAmounts {
        price: Money::from_micro(value),
        ..LineAmounts::default()
    };
    let mut lines: Vec<LineAmounts> = integers(&case["inputs"]["line_values_minor"])
        .into_iter()
        .map(price)
        .collect();
    lines[0].freight = Money::from_micro(freight);
    lines
}

/// The rule is one of whole numbers, so that minor units serve as well as the millionths it is used with.
#[test]
fn money_landed_cost() {
    for case in cases("money.landed-cost") {
        let landed = land_order(&order(&case), SpreadBasis::Value).unwrap();
        let allocated: Vec<i64> = landed.iter().map(|l| l.freight.micro()).collect();
        let costs: Vec<i64> = landed.iter().map(|l| l.landed.micro()).collect();
        assert_eq!(
            allocated,
            integers(&case["expected"]["allocated_minor"]),
            "{case}"
        );
        assert_eq!(costs, integers(&case["expected"]["landed_minor"]), "{case}");
        let total = case["expected"]["total_landed_minor"].as_i64();
        assert_eq!(Some(costs.iter().sum()), total, "{case}");
    }
}

#[test]
fn money_landed_cost_error() {
    for case in cases("money.landed-cost-error") {
        let error = land_order(&order(&case), SpreadBasis::Value).unwrap_err();
        let expected = text(&case["expected"]["error"]);
        assert!(error.to_string().starts_with(expected), "{case}: {error}");
    }
}

#[test]
fn money_minor_units() {
    for case in cases("money.minor-units") {
        let currency = Currency::parse(text(&case["inputs"]["currency"]));
        let digits = case["expected"]["minor_unit_digits"].as_u64();
        let got = currency.clone().ok().map(|c| u64::from(c.minor_digits()));
        assert_eq!(got, digits, "{case}");
        let allowed = case["expected"]["amounts_allowed"].as_bool();
        assert_eq!(Some(currency.is_ok()), allowed, "{case}");
    }
}

/// The label under which a unit is written in a purchase file. The sources name a unit in words that are
/// ambiguous on an invoice ("ounce", "gallon", "pint"); our labels name the one that is meant.
fn label(name: &str) -> &str {
    match name {
        "ounce" => "oz av",
        "pound" => "lb",
        "gallon" => "US gal",
        "pint" => "US pt",
        "quart" => "US qt",
        other => other,
    }
}

#[test]
fn units_factor() {
    for case in cases("units.factor") {
        let from = factor(label(text(&case["inputs"]["from"]))).unwrap();
        let to = factor(label(text(&case["inputs"]["to"]))).unwrap();
        assert_eq!(from.unit, to.unit, "{case}");
        let (num, den) = ratio(text(&case["expected"]["factor_exact"]));
        // from / to == num / den, cross-multiplied.
        assert_eq!(
            i128::from(from.num) * i128::from(to.den) * den,
            num * i128::from(from.den) * i128::from(to.num),
            "{case}"
        );
    }
}

#[test]
fn units_convert() {
    for case in cases("units.convert") {
        let value = Micro::parse(text(&case["inputs"]["value"])).unwrap();
        let to = factor(label(text(&case["inputs"]["to"]))).unwrap();
        let got = convert(value, label(text(&case["inputs"]["from"])), to.unit).unwrap();
        let (num, den) = ratio(text(&case["expected"]["value_exact"]));
        assert!(!got.rounded, "{case}");
        // quantity / 10^6 == num / den of the unit asked for, cross-multiplied.
        assert_eq!(
            i128::from(got.quantity.micro()) * i128::from(to.den) * den,
            num * i128::from(to.num) * 1_000_000,
            "{case}"
        );
    }
}

#[test]
fn units_volume_to_mass() {
    for case in cases("units.volume-to-mass") {
        let value = Micro::parse(text(&case["inputs"]["value"])).unwrap();
        let density = Micro::parse(text(&case["inputs"]["density_g_per_mL"])).unwrap();
        let from = label(text(&case["inputs"]["from"]));
        let got = convert_by_density(value, from, Unit::G, density).unwrap();
        // Exact, then rounded once to the millionth in which grams are kept.
        let (num, den) = ratio(text(&case["expected"]["grams_exact"]));
        let expected = round_half_even_div(num * 1_000_000, den).unwrap();
        assert_eq!(i128::from(got.quantity.micro()), expected, "{case}");
        assert_eq!(got.rounded, num * 1_000_000 % den != 0, "{case}");
    }
}

#[test]
fn units_label() {
    for case in cases("units.label") {
        let got = factor(text(&case["inputs"]["label"]));
        let meaning = text(&case["expected"]["meaning"]);
        if meaning.starts_with("ambiguous") {
            assert!(
                matches!(got, Err(UnitError::Ambiguous { .. })),
                "{case}: {got:?}"
            );
        } else {
            assert_eq!(got, factor(label(meaning)), "{case}");
            assert!(got.is_ok(), "{case}");
        }
    }
}

#[test]
fn csv_parse() {
    for case in cases("csv.parse") {
        let input = text(&case["inputs"]["text"]);
        let records: Vec<Vec<String>> = Records::new(input, Delimiter::Comma, Limits::default())
            .map(|record| record.unwrap().fields)
            .collect();
        assert_eq!(
            serde_json::json!(records),
            case["expected"]["records"],
            "{case}"
        );
    }
}

#[test]
fn csv_malformed() {
    for case in cases("csv.malformed") {
        let input = text(&case["inputs"]["text"]);
        let error = Records::new(input, Delimiter::Comma, Limits::default())
            .find_map(Result::err)
            .unwrap();
        assert_eq!(error.line(), Some(1), "{case}: {error}");
        assert!(error.to_string().contains("line 1"), "{case}: {error}");
    }
}

#[test]
fn csv_serial_date() {
    for case in cases("csv.serial-date") {
        let serial = case["inputs"]["serial"].as_u64().unwrap() as u32;
        assert_eq!(case["inputs"]["system"], "1900");
        match serial_1900(serial) {
            Ok(date) => assert_eq!(case["expected"]["date"], date.to_string(), "{case}"),
            Err(error) => assert_eq!(case["expected"]["error"], error.to_string(), "{case}"),
        }
        let other = serial_1904(serial).unwrap().to_string();
        assert_eq!(case["expected"]["date_1904_system"], other, "{case}");
    }
}

fn read_hostile(case: &Value, reading: &Reading) -> Result<Vec<RowReading>, String> {
    let context = ReadContext {
        decimal: reading.decimal,
        today: NaiveDate::from_ymd_opt(2026, 12, 31).unwrap(),
    };
    let bytes = hostile_bytes(case, reading);
    read_purchases(&bytes, &reading.format, &context).map_err(|e| e.to_string())
}

#[test]
fn csv_hostile() {
    for case in cases("csv.hostile") {
        let name = text(&case["inputs"]["name"]);
        let outcome = text(&case["expected"]["outcome"]);
        let reading = reading(name);
        let got = read_hostile(&case, &reading);
        // Where the recommendation leaves a choice ("accept or reject-file"), the first is taken.
        match outcome.split(" or ").next().unwrap() {
            "accept" => check_accepted(&case, &reading, got, WARNED.contains(&name)),
            "accept-with-warning" if name == "duplicate-row" => check_duplicate(got),
            "accept-with-warning" => check_accepted(&case, &reading, got, true),
            "reject-row" => check_row_refused(name, got),
            "reject-file" => {
                let (_, column, says) = refusal(name);
                assert!(column.is_none(), "{name}");
                let error = got.unwrap_err();
                assert!(error.contains(says), "{name}: {error}");
            }
            other => panic!("{name}: unknown outcome {other}"),
        }
    }
}

#[track_caller]
fn check_row_refused(name: &str, got: Result<Vec<RowReading>, String>) {
    let (_, column, says) = refusal(name);
    let rows = got.unwrap_or_else(|e| panic!("{name}: {e}"));
    assert_eq!(rows.len(), 1, "{name}");
    assert_eq!(rows[0].line, 2, "{name}");
    let errors = rows[0].row.clone().unwrap_err();
    assert_eq!(errors.len(), 1, "{name}: {errors:?}");
    assert_eq!(
        Some(errors[0].column.as_str()),
        column,
        "{name}: {errors:?}"
    );
    assert!(errors[0].detail.contains(says), "{name}: {errors:?}");
}

#[track_caller]
fn check_accepted(
    case: &Value,
    reading: &Reading,
    got: Result<Vec<RowReading>, String>,
    warned: bool,
) {
    let rows = got.unwrap_or_else(|e| panic!("{case}: {e}"));
    assert!(!rows.is_empty(), "{case}");
    for read in &rows {
        assert_eq!(
            !read.warnings.is_empty(),
            warned,
            "{case}: {:?}",
            read.warnings
        );
        assert!(read.row.is_ok(), "{case}: {:?}", read.row);
    }
    let row = rows[0].row.as_ref().unwrap();
    if let Some(parsed) = case["expected"]["parsed"].as_object() {
        for (column, value) in parsed {
            check_cell(case, reading, row, column, text(value));
        }
    }
}

#[track_caller]
fn check_cell(case: &Value, reading: &Reading, row: &PurchaseRow, column: &str, value: &str) {
    let pack = row.pack.as_ref().unwrap();
    let same = match column {
        "date" => row.received_on.unwrap().to_string() == value,
        "material" if reading.material == "supplier" => row.supplier == value.replace('\n', " "),
        "material" => row.item.as_str() == value,
        "quantity" => pack.written == Micro::parse(value).unwrap(),
        "unit" => pack.label == value,
        "amount" => row.line_price == Money::parse(value).unwrap(),
        "currency" => row.currency.as_str() == value,
        "lot" => row.lot.as_deref() == Some(value),
        other => panic!("unknown column {other}"),
    };
    assert!(same, "{case}: {column} of {row:?}");
}

/// The same row twice: both are good, and the second is known to be the first again.
#[track_caller]
fn check_duplicate(got: Result<Vec<RowReading>, String>) {
    let readings = got.unwrap();
    let rows: Vec<&PurchaseRow> = readings.iter().map(|r| r.row.as_ref().unwrap()).collect();
    let found = repeats(&rows);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].first, found[0].later), (0, 1));
    assert_eq!(found[0].comparison, Comparison::Same);
}

/// What the recommendations add in their notes.
#[test]
fn csv_hostile_alternatives() {
    let find = |name: &str| {
        let all = cases("csv.hostile");
        all.into_iter()
            .find(|c| c["inputs"]["name"] == name)
            .unwrap()
    };
    // Windows-1252, once it is said, gives the name.
    let case = find("cp1252-umlaut");
    let mut reading_1252 = reading("cp1252-umlaut");
    let error = read_hostile(&case, &reading_1252).unwrap_err();
    assert!(error.contains("encoding=windows-1252"), "{error}");
    reading_1252.format.encoding = Encoding::Windows1252;
    let bytes = hostile_bytes(&case, &reading_1252);
    let table = read_table(&bytes, COLUMNS, &reading_1252.format).unwrap();
    let names: Vec<&str> = table.rows().map(|row| row.get("item")).collect();
    assert_eq!(
        names,
        [text(&case["expected"]["parsed"]["material_if_cp1252"])]
    );
    // A file under another delimiter is never read as one column.
    for (name, hint) in [
        ("tab-delimited", "tab"),
        ("semicolon-decimal-comma", "semicolon"),
    ] {
        let case = find(name);
        let bytes = hostile_bytes(&case, &reading(name));
        let error = read_table(&bytes, COLUMNS, &FileFormat::default()).unwrap_err();
        assert!(
            error.to_string().contains(&format!("delimiter={hint}")),
            "{error}"
        );
    }
    // A decimal comma is never read under a decimal point.
    let case = find("semicolon-decimal-comma");
    let mut point = reading("semicolon-decimal-comma");
    point.decimal = DecimalMark::Point;
    let rows = read_hostile(&case, &point).unwrap();
    assert!(
        rows[0]
            .row
            .clone()
            .unwrap_err()
            .iter()
            .all(|e| e.detail.contains("decimal=comma"))
    );
    // As an item, odd free text is refused with the rule of codes.
    for name in ["bidi-override", "quoted-newline-2", "formula-in-text-2"] {
        let rows = read_hostile(&find(name), &reading("")).unwrap();
        let errors = rows[0].row.clone().unwrap_err();
        assert!(
            errors
                .iter()
                .any(|e| e.column == "item" && e.detail.contains("is not a code"))
        );
    }
    // The size limit holds on both sides.
    let at_limit = format!("lot\n{}\n", "A".repeat(4_096));
    let fields = Records::new(&at_limit, Delimiter::Comma, Limits::default());
    assert_eq!(fields.filter_map(Result::ok).count(), 2);
}

/// 8 fluid ounces are a volume: read as a mass they would be 226.796185 g.
#[test]
fn a_fluid_ounce_is_not_an_ounce() {
    let mass = convert(Micro::from_int(8), "oz av", Unit::G).unwrap();
    assert_eq!(mass.quantity, Quantity::parse("226.796185").unwrap());
    assert!(convert(Micro::from_int(8), "US fl oz", Unit::G).is_err());
}
