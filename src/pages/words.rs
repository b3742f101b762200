//! How days and quantities are written for people.
//!
//! Invariants: a day is named so that nobody needs a calendar; a quantity has as many digits as a balance shows, and none is
//! made up. Deliberately absent: sentences (each page has its own).

use chrono::{Datelike, NaiveDate};

use crate::base::Quantity;

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
