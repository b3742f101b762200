//! An exchange rate, exact, in the direction it is quoted.
//!
//! Invariants: at most 10 significant digits, above zero; a conversion is exact in 128 bits and rounded
//! once, half to even, to a millionth of the currency; a missing rate is never 1. Deliberately absent:
//! where rates come from, and which day's rate applies.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::base::{Money, round_half_even_div};

/// Most significant digits of a rate.
pub const RATE_DIGITS_MAX: usize = 10;

/// Most decimal places of a rate.
pub const RATE_DECIMALS_MAX: u32 = 18;

/// Which of the two currencies is the one that is counted out for one of the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Quote {
    /// Units of the base currency for one unit of the foreign one: the amount is multiplied by it.
    BasePerForeign,
    /// Units of the foreign currency for one unit of the base one: the amount is divided by it.
    ForeignPerBase,
}

/// An exchange rate above zero: `digits / 10^decimals`.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::purchasing::rate::{Quote, Rate};
/// let rate = Rate::parse("1.0835")?;
/// let dollars = Money::parse("89.50")?;
/// assert_eq!(rate.to_base(dollars, Quote::ForeignPerBase)?.to_string(), "82.602677");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rate {
    /// 1 to 10^10 - 1, not divisible by 10 unless `decimals` is 0.
    digits: i64,
    /// 0 to 18.
    decimals: u32,
}

/// Why a text is not a rate, or an amount could not be converted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RateError {
    /// Not plain digits with one point.
    #[error("\"{value}\" is not an exchange rate: send a decimal above zero, such as \"1.0835\"")]
    NotARate {
        /// The text, cut if long.
        value: String,
    },
    /// Too many digits.
    #[error(
        "\"{value}\" has too many digits for an exchange rate: send at most 10 significant digits, 18 decimal places and a value below 10000000000"
    )]
    TooManyDigits {
        /// The text, cut if long.
        value: String,
    },
    /// The converted amount is out of range.
    #[error(
        "{amount} at the rate {rate} is out of range: check both for a misplaced decimal point"
    )]
    OutOfRange {
        /// The amount.
        amount: Money,
        /// The rate.
        rate: Rate,
    },
}

impl Rate {
    /// Reads a rate: digits with an optional decimal point, above zero, at most 10 significant digits.
    ///
    /// # Errors
    /// [`RateError`] naming the value and what would be right.
    ///
    /// ```
    /// use heeltap::purchasing::rate::Rate;
    /// assert_eq!(Rate::parse("0.00003571428571").map(|r| r.to_string()), Ok("0.00003571428571".to_owned()));
    /// assert!(Rate::parse("0").is_err());
    /// assert!(Rate::parse("1.08351234567").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<Rate, RateError> {
        let value = || text.chars().take(40).collect();
        let (whole, fraction) = text.split_once('.').unwrap_or((text, "0"));
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !digits(fraction) {
            return Err(RateError::NotARate { value: value() });
        }
        let fraction = fraction.trim_end_matches('0');
        let all = format!("{whole}{fraction}");
        let significant = all.trim_start_matches('0');
        if significant.is_empty() {
            return Err(RateError::NotARate { value: value() });
        }
        let decimals = u32::try_from(fraction.len()).unwrap_or(u32::MAX);
        match significant.parse::<i64>() {
            Ok(digits) if significant.len() <= RATE_DIGITS_MAX && decimals <= RATE_DECIMALS_MAX => {
                Ok(Rate { digits, decimals })
            }
            _ => Err(RateError::TooManyDigits { value: value() }),
        }
    }

    /// This rate divided by another, exact in 128 bits and rounded once, half to even, to 10 significant digits: from the
    /// prices of one thing in two currencies, the price of the second currency in the first. `None` when the result is no
    /// rate: 10^10 or more, or below 10^-9, where 18 decimal places do not hold 10 significant digits.
    ///
    /// ```
    /// use heeltap::purchasing::rate::Rate;
    /// // One euro is 11.4025 kroner or 1.0835 dollars: so many kroner is one dollar.
    /// let (kroner, dollars) = (Rate::parse("11.4025")?, Rate::parse("1.0835")?);
    /// assert_eq!(kroner.per(dollars).map(|rate| rate.to_string()), Some("10.52376557".to_owned()));
    /// # Ok::<(), heeltap::purchasing::rate::RateError>(())
    /// ```
    #[must_use]
    pub fn per(self, other: Rate) -> Option<Rate> {
        // Both below 10^28; the numerator times a power of ten below 10^38, as it stays below 10^10 denominators.
        let num = i128::from(self.digits) * 10_i128.pow(other.decimals);
        let den = i128::from(other.digits) * 10_i128.pow(self.decimals);
        let least = 10_i128.pow(RATE_DIGITS_MAX as u32 - 1);
        let (mut decimals, scaled) = (0..=RATE_DECIMALS_MAX).find_map(|decimals| {
            let scaled = num.checked_mul(10_i128.pow(decimals))?;
            (scaled / den >= least).then_some((decimals, scaled))
        })?;
        let mut digits = round_half_even_div(scaled, den)?;
        while decimals > 0 && digits % 10 == 0 {
            digits /= 10;
            decimals -= 1;
        }
        let digits = i64::try_from(digits).ok()?;
        (digits < 10_i64.pow(RATE_DIGITS_MAX as u32)).then_some(Rate { digits, decimals })
    }

    /// A foreign amount in the base currency, rounded once, half to even.
    ///
    /// # Errors
    /// [`RateError::OutOfRange`] if the result does not fit.
    pub fn to_base(self, amount: Money, quote: Quote) -> Result<Money, RateError> {
        let scale = 10_i128.pow(self.decimals);
        let (num, den) = match quote {
            Quote::BasePerForeign => (i128::from(self.digits), scale),
            Quote::ForeignPerBase => (scale, i128::from(self.digits)),
        };
        // At most 2^63 times 10^18, which fits in 128 bits.
        i128::from(amount.micro())
            .checked_mul(num)
            .and_then(|product| round_half_even_div(product, den))
            .and_then(|micro| i64::try_from(micro).ok())
            .map(Money::from_micro)
            .ok_or(RateError::OutOfRange { amount, rate: self })
    }
}

/// The shortest decimal.
impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.decimals as usize + 1;
        let all = format!("{:0width$}", self.digits);
        let (whole, fraction) = all.split_at(all.len() - self.decimals as usize);
        match fraction {
            "" => f.pad(whole),
            _ => f.pad(&format!("{whole}.{fraction}")),
        }
    }
}

impl Serialize for Rate {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Rate {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Rate, D::Error> {
        let text = String::deserialize(deserializer)?;
        Rate::parse(&text).map_err(de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(amount: &str, rate: &str, quote: Quote, expected: &str) {
        let got = Money::parse(amount)
            .ok()
            .zip(Rate::parse(rate).ok())
            .and_then(|(a, r)| r.to_base(a, quote).ok())
            .map(|m| m.to_string());
        assert_eq!(got.as_deref(), Some(expected), "{amount} at {rate}");
    }

    #[test]
    fn both_directions_are_exact_and_rounded_once() {
        check("100", "0.92", Quote::BasePerForeign, "92");
        check("100", "0.92", Quote::ForeignPerBase, "108.695652");
        check(
            "1000000",
            "0.00003571428571",
            Quote::BasePerForeign,
            "35.714286",
        );
        // A tie at the seventh decimal goes to the even neighbour.
        check("0.000001", "0.5", Quote::BasePerForeign, "0");
        check("0.000003", "0.5", Quote::BasePerForeign, "0.000002");
        check("1000000000", "9000", Quote::BasePerForeign, "9000000000000");
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let rate = Rate::parse("9999999999");
        let got = rate.map(|r| {
            r.to_base(Money::from_int(1_000_000_000), Quote::BasePerForeign)
                .is_err()
        });
        assert_eq!(got, Ok(true));
        for bad in [
            "",
            ".",
            "1.",
            ".5",
            "-1",
            "+1",
            "1e2",
            "0",
            "0.000",
            "1,5",
            "12345678901",
        ] {
            assert!(Rate::parse(bad).is_err(), "{bad:?}");
        }
        assert!(Rate::parse("0.0000000000000000001").is_err());
        assert!(Rate::parse("1.08350000000000000000").is_ok());
    }

    #[test]
    fn a_quotient_has_ten_digits() {
        let per = |a: &str, b: &str| {
            let rate = Rate::parse(a).ok()?.per(Rate::parse(b).ok()?)?;
            Some(rate.to_string())
        };
        let text = |text: &str| Some(text.to_owned());
        assert_eq!(per("2", "3"), text("0.6666666667"));
        assert_eq!(per("1", "3"), text("0.3333333333"));
        assert_eq!(per("10", "4"), text("2.5"));
        assert_eq!(per("1.0835", "1.0835"), text("1"));
        assert_eq!(per("0.83", "16500.25"), text("0.00005030226815"));
        assert_eq!(per("9999999998", "9999999999"), text("0.9999999999"));
        // Half way between 1.0000000005 and its neighbours: to the even one.
        assert_eq!(per("2.000000001", "2"), text("1"));
        assert_eq!(per("2.000000003", "2"), text("1.000000002"));
        assert_eq!(per("9999999999", "1"), text("9999999999"));
        assert_eq!(per("9999999999", "0.9"), None);
        assert_eq!(per("0.000001", "1000"), text("0.000000001"));
        assert_eq!(per("0.000001", "1001"), None);
    }

    proptest! {
        #[test]
        fn a_quotient_is_the_nearest_with_ten_digits(
            (a, b) in (1_i64..10_000_000_000, 1_i64..10_000_000_000), (c, d) in (0_u32..=18, 0_u32..=18),
        ) {
            let (one, other) = (Rate { digits: a, decimals: c }, Rate { digits: b, decimals: d });
            let (num, den) = (i128::from(a) * 10_i128.pow(d), i128::from(b) * 10_i128.pow(c));
            match one.per(other) {
                Some(rate) => {
                    let digits = i128::from(rate.digits);
                    // |digits / 10^decimals - num / den| is at most half of the tenth digit's place.
                    let error = (digits * den - num * 10_i128.pow(rate.decimals)).abs();
                    let places = u32::try_from(rate.digits.to_string().len()).unwrap();
                    prop_assert!(2 * error * 10_i128.pow(10 - places) <= den);
                }
                None => prop_assert!(num / den >= 9_999_999_999 || num < den / 999_999_999),
            }
        }

        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            let _ = Rate::parse(&text);
        }

        #[test]
        fn text_round_trips(digits in 1_i64..10_000_000_000, decimals in 0_u32..=18) {
            let text = Rate { digits, decimals }.to_string();
            prop_assert_eq!(Rate::parse(&text).map(|r| Rate::parse(&r.to_string())), Ok(Rate::parse(&text)));
        }

        #[test]
        fn no_amount_panics(micro in any::<i64>(), digits in 1_i64..10_000_000_000, decimals in 0_u32..=18) {
            let rate = Rate { digits, decimals };
            let _ = rate.to_base(Money::from_micro(micro), Quote::BasePerForeign);
            let _ = rate.to_base(Money::from_micro(micro), Quote::ForeignPerBase);
        }
    }
}
