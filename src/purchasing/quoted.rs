//! Exchange rates as they were quoted on days, and which of them applies on a day.
//!
//! Invariants: a rate is kept in the direction it was quoted, so that nothing is inverted and rounded on the way in; the
//! rate of a day is that day's, or else the last of the 7 days before it (week-ends and holidays), or none, and none is
//! never 1. Deliberately absent: where rates come from.

use std::collections::{BTreeMap, HashMap};

use chrono::{Days, NaiveDate};

use super::rate::{Quote, Rate, RateError};
use crate::base::{Currency, Money};

/// How many days back a rate still counts.
pub const RATE_DAYS_BACK: u64 = 7;

/// A rate and the direction in which it was quoted.
///
/// ```
/// use heeltap::purchasing::quoted::QuotedRate;
/// use heeltap::purchasing::rate::{Quote, Rate};
/// let rate = QuotedRate { rate: Rate::parse("1.0835")?, quote: Quote::ForeignPerBase };
/// assert_eq!(rate.text(), "1/1.0835");
/// assert_eq!(QuotedRate::parse("1/1.0835"), Ok(rate));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct QuotedRate {
    /// The number.
    pub rate: Rate,
    /// What it is the price of.
    pub quote: Quote,
}

impl QuotedRate {
    /// The text to keep: the number, or `1/` and the number where it counts foreign units for one of the base currency.
    #[must_use]
    pub fn text(self) -> String {
        match self.quote {
            Quote::BasePerForeign => self.rate.to_string(),
            Quote::ForeignPerBase => format!("1/{}", self.rate),
        }
    }

    /// Reads a text that was kept.
    ///
    /// # Errors
    /// [`RateError`] if it is no such text.
    pub fn parse(text: &str) -> Result<QuotedRate, RateError> {
        let (number, quote) = match text.strip_prefix("1/") {
            Some(number) => (number, Quote::ForeignPerBase),
            None => (text, Quote::BasePerForeign),
        };
        let rate = Rate::parse(number)?;
        Ok(QuotedRate { rate, quote })
    }

    /// A foreign amount in the base currency, rounded once, half to even.
    ///
    /// # Errors
    /// [`RateError::OutOfRange`] if the result does not fit.
    pub fn to_base(self, amount: Money) -> Result<Money, RateError> {
        self.rate.to_base(amount, self.quote)
    }
}

/// The rates of some currencies by day.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RateTable {
    rates: HashMap<Currency, BTreeMap<NaiveDate, QuotedRate>>,
}

impl RateTable {
    /// Adds the rate of a day, in place of one that is there.
    pub fn insert(&mut self, currency: Currency, day: NaiveDate, rate: QuotedRate) {
        self.rates.entry(currency).or_default().insert(day, rate);
    }

    /// The rate that applies on a day: that day's, or the last of the [`RATE_DAYS_BACK`] days before it.
    ///
    /// ```
    /// use heeltap::base::Currency;
    /// use heeltap::purchasing::quoted::{QuotedRate, RateTable};
    /// let (usd, rate) = (Currency::parse("USD")?, QuotedRate::parse("0.92")?);
    /// let mut table = RateTable::default();
    /// table.insert(usd, "2026-02-06".parse()?, rate);
    /// assert_eq!(table.on(usd, "2026-02-08".parse()?), Some(rate));
    /// assert_eq!(table.on(usd, "2026-02-14".parse()?), None);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn on(&self, currency: Currency, day: NaiveDate) -> Option<QuotedRate> {
        let first = day
            .checked_sub_days(Days::new(RATE_DAYS_BACK))
            .unwrap_or(NaiveDate::MIN);
        let rates = self.rates.get(&currency)?;
        rates.range(first..=day).next_back().map(|(_, rate)| *rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(days: &[&str], asked: &str, expected: Option<&str>) {
        let usd = Currency::parse("USD").expect("a currency");
        let mut table = RateTable::default();
        for (index, day) in days.iter().enumerate() {
            let rate = QuotedRate::parse(&format!("0.{}", index + 1)).expect("a rate");
            table.insert(usd, day.parse().expect("a day"), rate);
        }
        let found = table
            .on(usd, asked.parse().expect("a day"))
            .map(QuotedRate::text);
        assert_eq!(found.as_deref(), expected, "{asked}");
    }

    #[test]
    fn the_last_rate_of_a_week_counts_and_none_later() {
        let days = ["2026-02-06", "2026-02-02"];
        check(&days, "2026-02-06", Some("0.1"));
        check(&days, "2026-02-05", Some("0.2"));
        check(&days, "2026-02-13", Some("0.1"));
        check(&days, "2026-02-14", None);
        check(&days, "2026-02-01", None);
        check(&[], "2026-02-06", None);
    }

    #[test]
    fn a_quote_the_other_way_round_is_divided_by() {
        let rate = QuotedRate::parse("1/1.0835").expect("a rate");
        let dollars = Money::parse("89.50").expect("an amount");
        let euros = rate.to_base(dollars).map(|m| m.to_string());
        assert_eq!(euros.as_deref(), Ok("82.602677"));
        for bad in ["", "1/", "1/0", "2/3", "x"] {
            assert!(QuotedRate::parse(bad).is_err(), "{bad:?}");
        }
    }

    proptest! {
        #[test]
        fn what_was_kept_is_read_back(digits in 1_i64..10_000_000_000, decimals in 0_usize..=18, over in any::<bool>()) {
            let plain = format!("{digits:0>width$}", width = decimals + 1);
            let (whole, fraction) = plain.split_at(plain.len() - decimals);
            let number = if fraction.is_empty() { whole.to_owned() } else { format!("{whole}.{fraction}") };
            let text = if over { format!("1/{number}") } else { number };
            let rate = QuotedRate::parse(&text).map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert_eq!(QuotedRate::parse(&rate.text()), Ok(rate));
            prop_assert_eq!(rate.text().starts_with("1/"), over);
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,20}|(1/)?[0-9.]{0,30}") {
            match QuotedRate::parse(&text) {
                Ok(rate) => prop_assert_eq!(QuotedRate::parse(&rate.text()), Ok(rate)),
                Err(error) => prop_assert!(error.to_string().len() < 400),
            }
        }

        /// Against a look at every rate: the last one of the days that still count.
        #[test]
        fn the_rate_of_a_day_is_the_last_that_counts(days in prop::collection::btree_set(0_u64..40, 0..12), asked in 0_u64..60) {
            let usd = Currency::parse("USD").expect("a currency");
            let first: NaiveDate = "2026-01-01".parse().expect("a day");
            let mut table = RateTable::default();
            for day in &days {
                let rate = QuotedRate::parse(&format!("0.{}", day + 1)).expect("a rate");
                table.insert(usd, first + Days::new(*day), rate);
            }
            let expected = days.iter().filter(|day| **day <= asked && asked - **day <= RATE_DAYS_BACK).max();
            let expected = expected.map(|day| QuotedRate::parse(&format!("0.{}", day + 1)).expect("a rate"));
            prop_assert_eq!(table.on(usd, first + Days::new(asked)), expected);
        }
    }
}
