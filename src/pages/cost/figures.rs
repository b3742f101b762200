//! How days, money of one chip and shares are written on the page of cost.
//!
//! Invariants: a day has its year, since the page is printed and kept; what does not exist is a dash and never 0.

use chrono::NaiveDate;

use crate::base::{Currency, Error, MICRO_PER_UNIT, Micro, Money, round_half_even_div};
use crate::costing::period::Period;
use crate::costing::replica_cost::per_chip::{chip_printed, chip_step_micro};

/// What stands where there is no figure.
pub(super) const NONE: &str = "\u{2013}";

/// A day such as `1 March 2026`.
pub(super) fn full_day(on: NaiveDate) -> String {
    on.format("%-d %B %Y").to_string()
}

/// A period in words.
pub(super) fn period_words(period: Period) -> String {
    match (period.from(), period.to()) {
        (None, None) => "all time".to_owned(),
        (Some(from), None) => format!("from {}", full_day(from)),
        (None, Some(to)) => format!("until {}", full_day(to)),
        (Some(from), Some(to)) => format!("{} to {}", full_day(from), full_day(to)),
    }
}

/// The cost of one chip, with all digits of its step.
///
/// # Errors
/// As [`chip_printed`].
pub(super) fn chip_money(amount: Money, currency: Currency) -> Result<String, Error> {
    let step = chip_step_micro(currency);
    let steps = chip_printed(amount, currency)?.micro() / step;
    let per_unit = (MICRO_PER_UNIT / step).unsigned_abs();
    let sign = if steps < 0 { "\u{2212}" } else { "" };
    let (whole, rest) = (
        steps.unsigned_abs() / per_unit,
        steps.unsigned_abs() % per_unit,
    );
    let width = per_unit.ilog10() as usize;
    Ok(format!("{sign}{whole}.{rest:0width$}"))
}

/// An amount as the report prints it, with a true minus.
pub(super) fn money(amount: Money, currency: Currency) -> String {
    currency.format(amount).replace('-', "\u{2212}")
}

/// A share of 1 as per cent with one place, half to even.
pub(super) fn per_cent(share: Option<Micro>) -> String {
    let Some(share) = share else {
        return NONE.to_owned();
    };
    let tenths = round_half_even_div(i128::from(share.micro()), 1_000).unwrap_or_default();
    format!("{}.{} %", tenths / 10, tenths % 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_of_a_chip_has_two_digits_more_than_the_minor_unit() {
        for (currency, amount, expected) in [
            ("EUR", "1.23455", "1.2346"),
            ("EUR", "12", "12.0000"),
            ("EUR", "-0.05", "\u{2212}0.0500"),
            ("JPY", "120.125", "120.12"),
            ("BHD", "0.000015", "0.00002"),
        ] {
            let currency = Currency::parse(currency).unwrap();
            let amount = Money::parse(amount).unwrap();
            assert_eq!(chip_money(amount, currency).unwrap(), expected);
        }
    }

    #[test]
    fn shares_and_periods_are_written_in_words() {
        let share = |text| per_cent(Some(Micro::parse(text).unwrap()));
        assert_eq!(
            (share("0.12345"), share("1")),
            ("12.3 %".into(), "100.0 %".into())
        );
        assert_eq!(per_cent(None), NONE);
        let words = |from, to| period_words(Period::parse(from, to).unwrap());
        assert_eq!(words(None, None), "all time");
        assert_eq!(
            words(Some("2026-03-01"), Some("2026-03-31")),
            "1 March 2026 to 31 March 2026"
        );
        assert_eq!(words(Some("2026-03-01"), None), "from 1 March 2026");
        assert_eq!(words(None, Some("2026-03-31")), "until 31 March 2026");
    }
}
