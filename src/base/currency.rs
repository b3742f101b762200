//! Currencies and their minor units.
//!
//! Table: ISO 4217 list one, typed from memory. Its codes were compared with Debian's `iso-codes` and agree but for
//! `XCG` and `ZWG`, which came later; its digits are held against the published cases of `tests/check_values`. `ANG`,
//! `BGN` and `ZWL`, since replaced, stay in so that older invoices can be entered. Invariant: a [`Currency`] has a minor unit; metals, units of
//! account and the codes for tests and "no currency" have none and are refused. Deliberately absent:
//! exchange rates.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::{MICRO_PER_UNIT, MicroError, Money, round_half_even_div};

/// A currency in which an amount can be paid.
///
/// ```
/// use heeltap::base::Currency;
/// let yen = Currency::parse("jpy")?;
/// assert_eq!((yen.as_str(), yen.minor_digits()), ("JPY", 0));
/// # Ok::<(), heeltap::base::CurrencyError>(())
/// ```
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    diesel::deserialize::FromSqlRow,
    diesel::expression::AsExpression,
)]
#[diesel(sql_type = diesel::sql_types::Text)]
pub struct Currency {
    /// Always one of the codes of the table.
    code: &'static str,
    /// Decimal places of the minor unit, 0 to 4.
    digits: u8,
}

/// Why a text is not a currency in which an amount can be paid.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CurrencyError {
    /// Not a code of the table.
    #[error("\"{value}\" is not a currency: send a three-letter ISO 4217 code, such as \"EUR\"")]
    Unknown {
        /// The text, cut if long.
        value: String,
    },
    /// A code that names no money one can pay with.
    #[error(
        "\"{code}\" {meaning}, so no amount can be in it: send the currency of the invoice, such as \"EUR\""
    )]
    NoMinorUnit {
        /// The code.
        code: &'static str,
        /// What it means.
        meaning: &'static str,
    },
}

/// Codes by the number of digits of their minor unit.
const BY_DIGITS: [(u8, &str); 4] = [
    (
        0,
        "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    ),
    (
        2,
        "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BOV BRL BSD BTN BWP BYN BZD \
         CAD CDF CHE CHF CHW CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS \
         GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL \
         MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK \
         PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS \
         TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED VES WST XCD XCG YER ZAR ZMW ZWG ZWL",
    ),
    (3, "BHD IQD JOD KWD LYD OMR TND"),
    (4, "CLF UYW"),
];

/// Codes of the standard that have no minor unit, and what they mean.
const WITHOUT_MINOR_UNIT: [(&str, &str); 13] = [
    ("XAG", "means silver"),
    ("XAU", "means gold"),
    ("XBA", "is a bond market unit"),
    ("XBB", "is a bond market unit"),
    ("XBC", "is a bond market unit"),
    ("XBD", "is a bond market unit"),
    ("XDR", "is a unit of account (special drawing right)"),
    ("XPD", "means palladium"),
    ("XPT", "means platinum"),
    ("XSU", "is a unit of account"),
    ("XTS", "is reserved for tests"),
    ("XUA", "is a unit of account"),
    ("XXX", "means no currency"),
];

impl Currency {
    /// Reads an ISO 4217 code; case is folded.
    ///
    /// # Errors
    /// [`CurrencyError`]: not a code, or a code without a minor unit (`XXX`, metals, units of account).
    pub fn parse(text: &str) -> Result<Currency, CurrencyError> {
        let upper = text.to_ascii_uppercase();
        let unknown = || CurrencyError::Unknown {
            value: text.chars().take(16).collect(),
        };
        if upper.len() != 3 || !upper.bytes().all(|b| b.is_ascii_uppercase()) {
            return Err(unknown());
        }
        let found = BY_DIGITS.iter().find_map(|&(digits, codes)| {
            codes
                .split_ascii_whitespace()
                .find(|code| *code == upper)
                .map(|code| Currency { code, digits })
        });
        let refused = WITHOUT_MINOR_UNIT.iter().find(|(code, _)| *code == upper);
        match (found, refused) {
            (Some(currency), _) => Ok(currency),
            (None, Some(&(code, meaning))) => Err(CurrencyError::NoMinorUnit { code, meaning }),
            (None, None) => Err(unknown()),
        }
    }

    /// The code, in capitals.
    #[must_use]
    pub const fn as_str(&self) -> &'static str {
        self.code
    }

    /// Decimal places of the minor unit, 0 to 4.
    #[must_use]
    pub const fn minor_digits(self) -> u8 {
        self.digits
    }

    /// One minor unit, in millionths of the currency: 10 000 for a cent.
    #[must_use]
    pub const fn minor_unit_micro(self) -> i64 {
        MICRO_PER_UNIT / 10_i64.pow(self.digits as u32)
    }

    /// The amount as a count of minor units, half to even.
    ///
    /// ```
    /// use heeltap::base::{Currency, Money};
    /// let dollar = Currency::parse("USD")?;
    /// assert_eq!(dollar.minor_units(Money::parse("2.675")?), 268);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn minor_units(self, amount: Money) -> i64 {
        let unit = i128::from(self.minor_unit_micro());
        // The divisor is at least 100, so that the quotient fits.
        round_half_even_div(i128::from(amount.micro()), unit).map_or(0, |q| q as i64)
    }

    /// The amount rounded to the minor unit, half to even.
    ///
    /// # Errors
    /// [`MicroError::Overflow`] at the very edge of the type.
    pub fn round_to_minor(self, amount: Money) -> Result<Money, MicroError> {
        self.minor_units(amount)
            .checked_mul(self.minor_unit_micro())
            .map(Money::from_micro)
            .ok_or(MicroError::Overflow)
    }

    /// Whether the amount is finer than the minor unit, so that it cannot stand on an invoice line.
    #[must_use]
    pub const fn is_finer_than_minor(self, amount: Money) -> bool {
        amount.micro() % self.minor_unit_micro() != 0
    }

    /// The amount as printed: rounded half to even, with all digits of the minor unit.
    ///
    /// ```
    /// use heeltap::base::{Currency, Money};
    /// let euro = Currency::parse("EUR")?;
    /// assert_eq!(euro.format(Money::parse("-1.5")?), "-1.50");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn format(self, amount: Money) -> String {
        let units = self.minor_units(amount);
        let sign = if units < 0 { "-" } else { "" };
        let scale = 10_u64.pow(u32::from(self.digits));
        let (whole, rest) = (units.unsigned_abs() / scale, units.unsigned_abs() % scale);
        match usize::from(self.digits) {
            0 => format!("{sign}{whole}"),
            width => format!("{sign}{whole}.{rest:0width$}"),
        }
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.code)
    }
}

impl std::str::FromStr for Currency {
    type Err = CurrencyError;

    fn from_str(text: &str) -> Result<Currency, CurrencyError> {
        Currency::parse(text)
    }
}

impl Serialize for Currency {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.code)
    }
}

impl<'de> Deserialize<'de> for Currency {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Currency, D::Error> {
        let text = String::deserialize(deserializer)?;
        Currency::parse(&text).map_err(de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all() -> impl Iterator<Item = &'static str> {
        BY_DIGITS
            .iter()
            .flat_map(|(_, codes)| codes.split_ascii_whitespace())
            .chain(WITHOUT_MINOR_UNIT.iter().map(|(code, _)| *code))
    }

    #[test]
    fn every_code_stands_once() {
        let set: std::collections::BTreeSet<_> = all().collect();
        assert_eq!(set.len(), all().count());
        assert!(all().all(|code| code.len() == 3));
    }

    #[test]
    fn a_code_without_minor_unit_says_why() {
        let text = |code| Currency::parse(code).map_err(|e| e.to_string());
        assert!(text("xxx").is_err_and(|e| e.contains("no currency")));
        assert!(text("XAU").is_err_and(|e| e.contains("gold")));
        assert!(text("EURO").is_err_and(|e| e.contains("\"EURO\" is not a currency")));
        assert!(text("").is_err());
        assert!(text("€ur").is_err());
    }

    #[test]
    fn finer_than_a_cent_is_seen() {
        let finer = |code: &str, amount: &str| {
            Currency::parse(code)
                .ok()
                .zip(Money::parse(amount).ok())
                .map(|(c, a)| c.is_finer_than_minor(a))
        };
        assert_eq!(finer("USD", "89.505"), Some(true));
        assert_eq!(finer("USD", "89.50"), Some(false));
        assert_eq!(finer("JPY", "0.5"), Some(true));
        assert_eq!(finer("BHD", "0.505"), Some(false));
    }

    proptest! {
        #[test]
        fn any_text_is_a_currency_or_refused(text in "\\PC{0,4}|[A-Za-z]{3}") {
            match Currency::parse(&text) {
                Ok(currency) => {
                    prop_assert!(currency.as_str().eq_ignore_ascii_case(&text));
                    let written = serde_json::to_string(&currency).expect("a currency as JSON");
                    prop_assert_eq!(serde_json::from_str::<Currency>(&written).ok(), Some(currency));
                }
                Err(error) => prop_assert!(error.to_string().contains(&text.to_ascii_uppercase())
                    || error.to_string().contains(&text)),
            }
        }

        /// Against plain arithmetic: the nearest count of minor units, and of two the even one.
        #[test]
        fn an_amount_is_rounded_to_the_nearest_minor_unit(micro in -(1_i64 << 60)..(1_i64 << 60), at in 0_usize..4) {
            let currency = Currency::parse(["JPY", "EUR", "KWD", "UYW"][at]).expect("a currency");
            let (unit, amount) = (currency.minor_unit_micro(), Money::from_micro(micro));
            let rounded = currency.round_to_minor(amount).expect("far from the edge");
            let off = (rounded.micro() - micro).abs();
            prop_assert!(rounded.micro() % unit == 0 && 2 * off <= unit);
            prop_assert!(2 * off < unit || rounded.micro() / unit % 2 == 0);
            prop_assert_eq!(off == 0, !currency.is_finer_than_minor(amount));
        }

        #[test]
        fn what_is_printed_is_the_rounded_amount(micro in -1_000_000_000_000_000_i64..1_000_000_000_000_000, at in 0_usize..4) {
            let currency = Currency::parse(["JPY", "EUR", "KWD", "UYW"][at]).expect("a currency");
            let amount = Money::from_micro(micro);
            let printed = currency.format(amount);
            let places = printed.split_once('.').map_or(0, |(_, places)| places.len());
            prop_assert_eq!(places, usize::from(currency.minor_digits()));
            prop_assert_eq!(Money::parse(&printed), currency.round_to_minor(amount));
        }
    }
}
