//! The hostile purchase files of the check values under our column names, and what our refusal of each says. Read by
//! the tests of the reader and by those of the API.
//!
//! Each file stands in `purchasing.json` beside its source. Where our outcome differs from the recommended one, it is
//! said here why ours is better.

use heeltap::purchasing::csv_file::{Delimiter, Encoding, FileFormat, decode};
use heeltap::purchasing::number::DecimalMark;
use serde_json::Value;

/// The cases of one kind; there must be some.
#[track_caller]
pub(crate) fn cases(kind: &str) -> Vec<Value> {
    let file: Value = serde_json::from_str(include_str!("purchasing.json")).unwrap();
    let all = file["cases"].as_array().unwrap();
    let found: Vec<Value> = all.iter().filter(|c| c["kind"] == kind).cloned().collect();
    assert!(!found.is_empty(), "no case of kind {kind}");
    found
}

pub(crate) fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}

/// How a hostile file is read, and under which of our columns its `material` stands.
pub(crate) struct Reading {
    pub(crate) format: FileFormat,
    pub(crate) decimal: DecimalMark,
    pub(crate) material: &'static str,
}

pub(crate) fn reading(name: &str) -> Reading {
    let mut reading = Reading {
        format: FileFormat::default(),
        decimal: DecimalMark::Point,
        material: "item",
    };
    match name {
        "semicolon-decimal-comma" | "thousands-nbsp" => {
            reading.format.delimiter = Delimiter::Semicolon;
            reading.decimal = DecimalMark::Comma;
        }
        "tab-delimited" => reading.format.delimiter = Delimiter::Tab,
        // These three ask what happens to odd free text. Our item is a code and cannot hold any; the
        // supplier's name can.
        "bidi-override" | "quoted-newline-2" | "formula-in-text-2" => reading.material = "supplier",
        _ => {}
    }
    reading
}

/// Cuts a text into records with their line ends, which stay as they are.
fn raw_records(text: &str) -> Vec<&str> {
    let (mut records, mut start, mut quoted) = (Vec::new(), 0, false);
    for (at, c) in text.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '\n' if !quoted => {
                records.push(&text[start..=at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    if start < text.len() {
        records.push(&text[start..]);
    }
    records
}

/// Gives a file of the check values our column names and the columns it lacks; all else stays as it is.
fn adapt(file: &str, name: &str, reading: &Reading) -> String {
    let delimiter = match reading.format.delimiter {
        Delimiter::Comma => ",",
        Delimiter::Semicolon => ";",
        Delimiter::Tab => "\t",
    };
    let other = if reading.material == "item" {
        "supplier"
    } else {
        "item"
    };
    let (mark, rest) = match file.strip_prefix('\u{feff}') {
        Some(rest) => ("\u{feff}", rest),
        None => ("", file),
    };
    let mut adapted = mark.to_owned();
    for (index, record) in raw_records(rest).into_iter().enumerate() {
        let body = record.trim_end_matches(['\r', '\n']);
        let (line_end, added) = (
            &record[body.len()..],
            if index == 0 {
                [
                    "order_no",
                    "line_no",
                    other,
                    "ordered_on",
                    "packs",
                    "freight",
                    "expires_on",
                ]
                .map(str::to_owned)
            } else {
                // The same row twice is the same line of the order twice.
                let line_no = if name == "duplicate-row" { 1 } else { index };
                let values = [
                    "O-1",
                    &line_no.to_string(),
                    "base",
                    "2025-01-02",
                    "1",
                    "0",
                    "",
                ];
                values.map(str::to_owned)
            },
        );
        if body.is_empty() {
            adapted.push_str(record);
            continue;
        }
        let body = match index {
            0 => body
                .split(delimiter)
                .map(|cell| rename(cell, reading.material))
                .collect::<Vec<_>>()
                .join(delimiter),
            _ => body.to_owned(),
        };
        adapted += &format!("{body}{delimiter}{}{line_end}", added.join(delimiter));
    }
    adapted
}

/// Our name of a column of the check values, with the blanks and the case of theirs.
fn rename(cell: &str, material: &str) -> String {
    let theirs = cell.trim();
    let ours = match theirs.to_lowercase().as_str() {
        "date" => "received_on",
        "material" => material,
        "quantity" => "pack_quantity",
        "amount" => "line_price",
        _ => return cell.to_owned(),
    };
    let upper = theirs.chars().all(char::is_uppercase);
    let cased = if upper {
        ours.to_uppercase()
    } else {
        ours.to_owned()
    };
    cell.replace(theirs, &cased)
}

/// The bytes of a hostile file, with our columns.
pub(crate) fn hostile_bytes(case: &Value, reading: &Reading) -> Vec<u8> {
    let name = text(&case["inputs"]["name"]);
    if let Some(file) = case["inputs"]["text"].as_str() {
        return adapt(file, name, reading).into_bytes();
    }
    if let Some(hex_text) = case["inputs"]["bytes_hex"].as_str() {
        let bytes = hex::decode(hex_text).unwrap();
        return match std::str::from_utf8(&bytes) {
            Ok(file) => adapt(file, name, reading).into_bytes(),
            // Every character of it is below U+0100, where the code page and its bytes agree.
            Err(_) => adapt(
                &decode(&bytes, Encoding::Windows1252).unwrap(),
                name,
                reading,
            )
            .chars()
            .map(|c| u8::try_from(u32::from(c)).unwrap())
            .collect(),
        };
    }
    assert_eq!(name, "very-long-field");
    let header = "date,material,quantity,unit,amount,currency,lot\r\n";
    let file = format!(
        "{header}2026-02-03,{},1,g,1.00,USD,L1\r\n",
        "A".repeat(1_000_000)
    );
    adapt(&file, name, reading).into_bytes()
}

/// For each hostile file that is not accepted: the column of ours that is named (none for the file as a
/// whole), and what our error says.
pub(crate) const REFUSALS: &[(&str, Option<&str>, &str)] = &[
    ("cp1252-umlaut", None, "0xE4 is not valid UTF-8"),
    ("nul-byte", None, "U+0000"),
    ("missing-column", None, "required column \"unit\" absent"),
    ("long-row", Some("row"), "15 of 14 cells"),
    ("formula-in-number", Some("pack_quantity"), "formula"),
    (
        "underflow-1e-400",
        Some("pack_quantity"),
        "finer than the resolution",
    ),
    ("infinity", Some("pack_quantity"), "not a finite number"),
    ("unicode-minus", Some("pack_quantity"), "U+2212"),
    (
        "fullwidth-digits",
        Some("pack_quantity"),
        "digits outside 0-9",
    ),
    ("hex-number", Some("pack_quantity"), "hexadecimal"),
    (
        "date-2025-02-29",
        Some("received_on"),
        "February 2025 has 28 days",
    ),
    (
        "date-ambiguous",
        Some("received_on"),
        "2026-04-03 (day first) or 2026-03-04 (month first)",
    ),
    (
        "excel-serial-date",
        Some("received_on"),
        "2026-02-03 in the 1900 system, 2030-02-04 in the 1904 system",
    ),
    ("very-long-field", None, "limit of 4096 characters"),
    ("empty-file", None, "no header"),
    (
        "currency-no-currency",
        Some("currency"),
        "means no currency",
    ),
    (
        "usd-three-decimals",
        Some("line_price"),
        "89.505 is finer than the minor unit of USD",
    ),
    (
        "duplicate-header-2",
        None,
        "\"lot\" occurs twice after case folding",
    ),
    ("overflow-1e400-2", Some("line_price"), "out of range"),
    ("nan-2", Some("line_price"), "not a finite number"),
    (
        "negative-quantity-2",
        Some("pack_quantity"),
        "must not be negative",
    ),
    (
        "date-2026-02-30-2",
        Some("received_on"),
        "November 2025 has 30 days",
    ),
    (
        "thousands-comma-quoted-2",
        Some("pack_quantity"),
        "2500 or 2.5",
    ),
    ("short-row-2", Some("row"), "8 of 14 cells"),
];

/// Cases whose row is accepted with a warning where the recommendation accepts it without one.
///
/// `quoted-newline-2`: the line break in the name is read as a blank, and said so. A name that holds a line
/// break breaks lists, labels and exports, and two writings of one supplier would become two suppliers.
pub(crate) const WARNED: &[&str] = &["quoted-newline-2"];

/// The line of [`REFUSALS`] for a case.
#[track_caller]
pub(crate) fn refusal(name: &str) -> (&'static str, Option<&'static str>, &'static str) {
    let found = REFUSALS.iter().find(|(listed, ..)| *listed == name);
    *found.unwrap_or_else(|| panic!("{name} is not listed"))
}
