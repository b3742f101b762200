//! What holds of any text that is sent as a number, an amount, a currency, a code, a day or a rate.
//!
//! Invariants: nothing panics; whatever is read prints to a text that reads as the same; a decimal is read as its digits
//! stand; what is apportioned adds up; whoever is refused is told something short.

use heeltap::base::{
    Code, Currency, INPUT_MAX_UNITS, MICRO_PER_UNIT, Micro, MicroError, Money, Quantity, Unit,
    apportion, convert, convert_by_density, factor,
};
use heeltap::purchasing::date::read_date;
use heeltap::purchasing::number::{DecimalMark, plain_decimal, read_number};
use heeltap::purchasing::quoted::QuotedRate;
use heeltap::purchasing::rate::{Quote, Rate};

/// Longest refusal of a value, in bytes: it repeats no more than the start of what was sent.
const REFUSAL_MAX: usize = 500;

/// Reads the bytes, when they are text, as whatever may be written in a field or a cell.
pub(crate) fn check(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    decimal(text);
    json(text);
    words(text);
    cells(text);
    rate(text);
    let values: Vec<Micro> = text
        .split_whitespace()
        .filter_map(|word| Micro::parse(word).ok())
        .collect();
    if let [first, second, ..] = values[..] {
        sums(first, second);
        shares(first, &values[1..]);
    }
}

fn short(refusal: impl std::fmt::Display) {
    let said = refusal.to_string();
    assert!(!said.is_empty() && said.len() <= REFUSAL_MAX, "{said}");
}

fn decimal(text: &str) {
    let read = Micro::parse(text);
    assert_eq!(Quantity::parse(text).map(Micro::from), read);
    assert_eq!(Money::parse(text).map(Micro::from), read);
    match read {
        Err(error) => short(error),
        Ok(value) => {
            let limit = INPUT_MAX_UNITS * MICRO_PER_UNIT;
            assert!((-limit..=limit).contains(&value.micro()), "{text:?}");
            let printed = value.to_string();
            assert_eq!(Micro::parse(&printed), Ok(value), "{text:?}");
            if !text.contains(['e', 'E']) {
                assert_eq!(printed, plain(text));
            }
            let written = serde_json::to_string(&value).expect("a decimal as JSON");
            assert_eq!(serde_json::from_str::<Micro>(&written).ok(), Some(value));
            // Close enough for physics, and exact again after rounding.
            if value.micro().abs() < 1 << 50 {
                assert_eq!(Micro::from_f64_half_even(value.to_f64()), Ok(value));
            }
        }
    }
}

/// A decimal without exponent as the shortest text for it, by its characters alone.
fn plain(text: &str) -> String {
    let (sign, rest) = match text.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", text),
    };
    let (whole, fraction) = rest.split_once('.').unwrap_or((rest, ""));
    let (whole, fraction) = (
        whole.trim_start_matches('0'),
        fraction.trim_end_matches('0'),
    );
    let whole = if whole.is_empty() { "0" } else { whole };
    match (whole, fraction) {
        ("0", "") => "0".to_owned(),
        (whole, "") => format!("{sign}{whole}"),
        (whole, fraction) => format!("{sign}{whole}.{fraction}"),
    }
}

/// A number in JSON means what its digits mean, or is refused.
fn json(text: &str) {
    let Ok(value) = serde_json::from_str::<Micro>(text) else {
        return;
    };
    let written = serde_json::to_string(&value).expect("a decimal as JSON");
    assert_eq!(serde_json::from_str::<Micro>(&written).ok(), Some(value));
    if let Ok(digits) = Micro::parse(text.trim()) {
        assert_eq!(digits, value, "{text:?}");
    }
}

fn words(text: &str) {
    match Currency::parse(text) {
        Err(error) => short(error),
        Ok(currency) => {
            assert!(currency.as_str().eq_ignore_ascii_case(text));
            assert_eq!(Currency::parse(currency.as_str()), Ok(currency));
        }
    }
    match Code::parse(text) {
        Err(error) => short(error),
        Ok(code) => assert_eq!(code.as_str(), text),
    }
    match Unit::parse(text) {
        Err(error) => short(error),
        Ok(unit) => assert_eq!(unit.as_str(), text),
    }
    if let Err(error) = factor(text) {
        short(error);
    }
}

fn cells(text: &str) {
    for mark in [DecimalMark::Point, DecimalMark::Comma] {
        match (read_number(text, mark), plain_decimal(text, mark)) {
            (Err(error), _) => short(error),
            (Ok(read), Ok(plain)) => {
                assert!(!read.value.is_negative(), "{text:?}");
                assert_eq!(Micro::parse(&plain.value), Ok(read.value), "{text:?}");
                assert_eq!(plain.warning.is_some(), read.warning.is_some());
                // Printed under its mark it is plain, unless three places after the mark make two readings of it.
                let printed = read.value.to_string().replace('.', mark_of(mark));
                if let Ok(again) = read_number(&printed, mark) {
                    assert_eq!((again.value, again.warning), (read.value, None), "{text:?}");
                }
            }
            (Ok(read), Err(error)) => panic!("{text:?} is {read:?} and {error}"),
        }
    }
    match read_date(text) {
        Err(error) => short(error),
        Ok(day) => assert_eq!(read_date(&day.to_string()), Ok(day), "{text:?}"),
    }
}

fn mark_of(mark: DecimalMark) -> &'static str {
    match mark {
        DecimalMark::Point => ".",
        DecimalMark::Comma => ",",
    }
}

fn rate(text: &str) {
    match QuotedRate::parse(text) {
        Err(error) => short(error),
        Ok(quoted) => assert_eq!(QuotedRate::parse(&quoted.text()), Ok(quoted), "{text:?}"),
    }
    let Ok(rate) = Rate::parse(text) else { return };
    assert_eq!(Rate::parse(&rate.to_string()), Ok(rate), "{text:?}");
    for amount in [
        Money::from_micro(i64::MAX),
        Money::from_int(100),
        Money::ZERO,
    ] {
        for quote in [Quote::BasePerForeign, Quote::ForeignPerBase] {
            if let Err(error) = rate.to_base(amount, quote) {
                short(error);
            }
        }
    }
    let one = Rate::parse("1").expect("a rate");
    assert_eq!(rate.per(rate), Some(one), "{text:?}");
}

fn sums(first: Micro, second: Micro) {
    let sum = first.checked_add(second).expect("inputs far from the edge");
    assert_eq!(sum.checked_sub(second), Ok(first));
    assert_eq!(Micro::checked_sum([first, second]), Ok(sum));
    match first.mul_div_half_even(second.micro(), second.micro()) {
        Ok(same) => assert_eq!(same, first),
        Err(error) => assert_eq!((error, second), (MicroError::DivisionByZero, Micro::ZERO)),
    }
    for label in ["kg", "mg", "L", "dozen", "g"] {
        for to in Unit::ALL {
            let _ = convert(first, label, to);
            let _ = convert_by_density(first, label, to, second);
        }
    }
    for code in ["EUR", "JPY", "KWD", "UYW"] {
        let currency = Currency::parse(code).expect("a currency");
        let amount = Money::new(first);
        let rounded = currency
            .round_to_minor(amount)
            .expect("inputs far from the edge");
        assert!(!currency.is_finer_than_minor(rounded));
        let off = rounded
            .checked_sub(amount)
            .expect("inputs far from the edge");
        assert!(off.micro().abs() * 2 <= currency.minor_unit_micro());
        assert_eq!(Money::parse(&currency.format(amount)), Ok(rounded));
    }
}

fn shares(total: Micro, weights: &[Micro]) {
    let weights: Vec<i64> = weights.iter().map(|weight| weight.micro()).collect();
    match apportion(total.micro(), &weights) {
        Err(error) => short(error),
        Ok(parts) => {
            let sum: i128 = parts.iter().map(|part| i128::from(*part)).sum();
            assert_eq!(
                (parts.len(), sum),
                (weights.len(), i128::from(total.micro()))
            );
        }
    }
}
