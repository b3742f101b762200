//! How days and quantities are written for people.
//!
//! Invariants: a day is named so that nobody needs a calendar; a quantity has as many digits as a balance shows, and none is
//! made up. Deliberately absent: sentences (each page has its own).

use chrono::{Datelike, NaiveDate};

use crate::base::{Money, Quantity, round_half_even_div};

/// A day such as `Fri 4 Dec`; with the year when it is not that of `today`.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::pages::day;
/// let on = |year, month, day| NaiveDate::from_ymd_opt(year, month, day).unwrap();
/// assert_eq!(day(on(2026, 12, 4), on(2026, 11, 27)), "Fri 4 Dec");
/// assert_eq!(day(on(2027, 1, 9), on(2026, 11, 27)), "Sat 9 Jan 2027");
/// ```
#[must_use]
pub fn day(on: NaiveDate, today: NaiveDate) -> String {
    match on.year() == today.year() {
        true => on.format("%a %-d %b").to_string(),
        false => on.format("%a %-d %b %Y").to_string(),
    }
}

/// A quantity with its unit, such as `1,016 g`, `5.75 g` or `3`: two places below 10, one below 100, none above, and none that
/// is 0. Pieces have no unit.
///
/// ```
/// use heeltap::base::Quantity;
/// use heeltap::pages::amount;
/// let of = |text, unit| amount(Quantity::parse(text).unwrap(), unit);
/// assert_eq!(of("1016.4", "g"), "1,016 g");
/// assert_eq!(of("57.46", "g"), "57.5 g");
/// assert_eq!(of("5.754", "g"), "5.75 g");
/// assert_eq!(of("40", "each"), "40");
/// ```
#[must_use]
pub fn amount(quantity: Quantity, unit: &str) -> String {
    let micro = quantity.micro();
    let size = micro.unsigned_abs();
    let step: u64 = match size {
        0..10_000_000 => 10_000,
        10_000_000..100_000_000 => 100_000,
        _ => 1_000_000,
    };
    let rounded = (size + step / 2) / step * step;
    let (whole, rest) = (rounded / 1_000_000, rounded % 1_000_000);
    let sign = if micro < 0 && rounded > 0 {
        "\u{2212}"
    } else {
        ""
    };
    let places = format!("{rest:06}");
    let places = places.trim_end_matches('0');
    let point = if places.is_empty() { "" } else { "." };
    let number = format!("{sign}{}{point}{places}", grouped(whole));
    match unit {
        "each" => number,
        unit => format!("{number} {unit}"),
    }
}

/// An amount with its currency, such as `1,234.50 EUR`: two places; below 1, three, since a chip costs little. Half to even.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::pages::money;
/// let of = |text| money(Money::parse(text).unwrap(), "EUR");
/// assert_eq!(of("1234.505"), "1,234.50 EUR");
/// assert_eq!(of("0.04202"), "0.042 EUR");
/// assert_eq!(of("-0.5"), "\u{2212}0.500 EUR");
/// assert_eq!(of("0"), "0.00 EUR");
/// ```
#[must_use]
pub fn money(amount: Money, currency: &str) -> String {
    let micro = amount.micro();
    let size = i128::from(micro.unsigned_abs());
    let (step, places) = match size {
        1..1_000_000 => (1_000_u64, 3),
        _ => (10_000, 2),
    };
    let steps = round_half_even_div(size, i128::from(step)).unwrap_or(0);
    let rounded = u64::try_from(steps)
        .unwrap_or(u64::MAX)
        .saturating_mul(step);
    let sign = if micro < 0 && rounded > 0 {
        "\u{2212}"
    } else {
        ""
    };
    let whole = grouped(rounded / 1_000_000);
    let rest = format!("{:06}", rounded % 1_000_000);
    format!("{sign}{whole}.{} {currency}", &rest[..places])
}

/// `one` of something or many, such as `1 tray` and `6 trays`.
pub(super) fn counted(count: impl Into<i64>, one: &str, many: &str) -> String {
    match count.into() {
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    }
}

/// A sentence of an operation as one of a page: with a capital and a stop.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    let stop = if text.ends_with('.') { "" } else { "." };
    format!("{}{}{stop}", first.unwrap_or_default(), letters.as_str())
}

/// A whole number with a comma between thousands.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: &str) {
        assert_eq!(amount(Quantity::parse(text).unwrap(), "g"), expected);
    }

    #[test]
    fn a_sentence_has_one_capital_and_one_stop() {
        assert_eq!(sentence("mix by hand"), "Mix by hand.");
        assert_eq!(sentence("Mix. Rest."), "Mix. Rest.");
    }

    #[test]
    fn quantities_have_the_digits_of_a_balance() {
        check("0", "0 g");
        check("0.004", "0 g");
        check("0.005", "0.01 g");
        check("9.996", "10 g");
        check("99.96", "100 g");
        check("999999.5", "1,000,000 g");
        check("-12.34", "\u{2212}12.3 g");
        check("-0.001", "0 g");
    }
}
