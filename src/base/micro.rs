//! A decimal held exactly, in millionths.
//!
//! For: every stored quantity and every amount of money. Invariants: the value is an `i64` count of
//! millionths; arithmetic is checked and products run in 128 bits; rounding, where there is any, is
//! half to even and happens once. Text that comes from outside is limited to 6 decimal places and
//! to a magnitude of 10^9, so that sums of inputs stay far from the edge of the type.
//! Deliberately absent: operators that could overflow silently, and any silent use of binary
//! floating point (the two `f64` functions are for physics and say how they round).

use std::fmt;

use super::apportion::round_half_even_div;

/// Millionths in one unit.
pub const MICRO_PER_UNIT: i64 = 1_000_000;

/// The largest magnitude accepted from outside, in whole units.
pub const INPUT_MAX_UNITS: i64 = 1_000_000_000;

/// Decimal places that are kept.
const DECIMALS: i64 = 6;

/// Longest text that is looked at; a longer one is refused before anything is computed.
const TEXT_MAX_CHARS: usize = 64;

/// A decimal number held exactly in millionths.
///
/// ```
/// use heeltap::base::Micro;
/// let a = Micro::parse("0.1")?;
/// let b = Micro::parse("0.2")?;
/// assert_eq!(a.checked_add(b)?.to_string(), "0.3");
/// # Ok::<(), heeltap::base::MicroError>(())
/// ```
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    diesel::deserialize::FromSqlRow,
    diesel::expression::AsExpression,
)]
#[diesel(sql_type = diesel::sql_types::BigInt)]
pub struct Micro(pub(super) i64);

/// Why a decimal was refused. The text names the value and what would be right.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MicroError {
    /// The text was empty.
    #[error("\"\" is empty: send a decimal such as \"12.5\"")]
    Empty,
    /// The text is not a decimal number in plain digits.
    #[error(
        "\"{value}\" is not a decimal number: send digits 0-9 with an optional leading '-' and one decimal point, such as \"12.5\""
    )]
    NotADecimal {
        /// The text, cut if long.
        value: String,
    },
    /// The number has more than 6 decimal places.
    #[error(
        "\"{value}\" is finer than a millionth: send at most 6 decimal places, such as \"0.000001\""
    )]
    TooFine {
        /// The text, cut if long.
        value: String,
    },
    /// The number is beyond 10^9 either way.
    #[error("\"{value}\" is out of range: send a number from -1000000000 to 1000000000")]
    OutOfRange {
        /// The text, cut if long.
        value: String,
    },
    /// A JSON number has more digits than binary floating point carries safely.
    #[error(
        "the number {value} has more than 15 significant digits: send a string, such as \"{value}\""
    )]
    SendAString {
        /// The number as it was read.
        value: String,
    },
    /// A sum or product left the range of the type.
    #[error(
        "the result is out of range: amounts must stay below 9223372036854 in magnitude; check the quantities and prices for a misplaced decimal point"
    )]
    Overflow,
    /// A division by zero was asked for.
    #[error("a division by zero was asked for")]
    DivisionByZero,
}

impl Micro {
    /// Zero.
    pub const ZERO: Micro = Micro(0);

    /// Wraps a count of millionths (any `i64`).
    ///
    /// ```
    /// assert_eq!(heeltap::base::Micro::from_micro(1_500_000).to_string(), "1.5");
    /// ```
    #[must_use]
    pub const fn from_micro(micro: i64) -> Micro {
        Micro(micro)
    }

    /// The count of millionths.
    #[must_use]
    pub const fn micro(self) -> i64 {
        self.0
    }

    /// A whole number of units.
    ///
    /// ```
    /// assert_eq!(heeltap::base::Micro::from_int(3).micro(), 3_000_000);
    /// ```
    #[must_use]
    pub const fn from_int(units: i32) -> Micro {
        Micro(units as i64 * MICRO_PER_UNIT)
    }

    /// Reads a decimal: digits with an optional leading `-` and one decimal point, at most 6 decimal
    /// places, magnitude at most 10^9. An exponent (`1e3`) is accepted where the value is exact.
    ///
    /// # Errors
    /// [`MicroError`] naming the value: empty, not plain digits, too fine, or out of range.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// assert_eq!(Micro::parse("-0.25").map(Micro::micro), Ok(-250_000));
    /// assert!(Micro::parse("1e400").is_err());
    /// assert!(Micro::parse("0.0000001").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<Micro, MicroError> {
        if text.is_empty() {
            return Err(MicroError::Empty);
        }
        let not_a_decimal = || MicroError::NotADecimal { value: cut(text) };
        if text.len() > TEXT_MAX_CHARS {
            return Err(if text.bytes().all(|b| b.is_ascii_digit()) {
                MicroError::OutOfRange { value: cut(text) }
            } else {
                not_a_decimal()
            });
        }
        let (negative, unsigned) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (
                mantissa,
                Some(parse_exponent(exponent).ok_or_else(not_a_decimal)?),
            ),
            None => (unsigned, None),
        };
        let (whole, fraction) = match mantissa.split_once('.') {
            Some((whole, fraction)) if !fraction.is_empty() => (whole, fraction),
            Some(_) => return Err(not_a_decimal()),
            None => (mantissa, ""),
        };
        let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        if whole.is_empty() || !digits(whole) || !digits(fraction) {
            return Err(not_a_decimal());
        }
        let magnitude = match exponent {
            None if fraction.len() as i64 > DECIMALS => {
                return Err(MicroError::TooFine { value: cut(text) });
            }
            None if whole.len() > 10 => return Err(MicroError::OutOfRange { value: cut(text) }),
            _ => scale(whole, fraction, exponent.unwrap_or(0)),
        };
        match magnitude {
            Scaled::Exact(m) if m <= INPUT_MAX_UNITS * MICRO_PER_UNIT => {
                Ok(Micro(if negative { -m } else { m }))
            }
            Scaled::TooFine => Err(MicroError::TooFine { value: cut(text) }),
            Scaled::Exact(_) | Scaled::TooLarge => Err(MicroError::OutOfRange { value: cut(text) }),
        }
    }

    /// Reads what [`Display`](fmt::Display) wrote: any value of the type, without an exponent. For what we kept ourselves.
    ///
    /// # Errors
    /// As [`Micro::parse`], but that only the type limits the magnitude.
    pub(super) fn parse_kept(text: &str) -> Result<Micro, MicroError> {
        match Micro::parse(text) {
            Err(MicroError::OutOfRange { value }) => kept_micro(text)
                .map(Micro)
                .ok_or(MicroError::OutOfRange { value }),
            read => read,
        }
    }

    /// The sum.
    ///
    /// # Errors
    /// [`MicroError::Overflow`] beyond the range of `i64` millionths.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// assert!(Micro::from_micro(i64::MAX).checked_add(Micro::from_micro(1)).is_err());
    /// ```
    pub fn checked_add(self, other: Micro) -> Result<Micro, MicroError> {
        self.0
            .checked_add(other.0)
            .map(Micro)
            .ok_or(MicroError::Overflow)
    }

    /// The difference.
    ///
    /// # Errors
    /// [`MicroError::Overflow`] beyond the range of `i64` millionths.
    pub fn checked_sub(self, other: Micro) -> Result<Micro, MicroError> {
        self.0
            .checked_sub(other.0)
            .map(Micro)
            .ok_or(MicroError::Overflow)
    }

    /// The number with its sign turned.
    ///
    /// # Errors
    /// [`MicroError::Overflow`] for the one value without a counterpart, `i64::MIN`.
    pub fn checked_neg(self) -> Result<Micro, MicroError> {
        self.0.checked_neg().map(Micro).ok_or(MicroError::Overflow)
    }

    /// The sum of many. Only the final sum has to fit: it is accumulated in 128 bits.
    ///
    /// # Errors
    /// [`MicroError::Overflow`] if the sum is beyond the range of `i64` millionths.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// let sum = Micro::checked_sum([Micro::from_int(1), Micro::from_int(2)]);
    /// assert_eq!(sum, Ok(Micro::from_int(3)));
    /// ```
    pub fn checked_sum(values: impl IntoIterator<Item = Micro>) -> Result<Micro, MicroError> {
        let mut sum: i128 = 0;
        for value in values {
            sum += i128::from(value.0);
        }
        i64::try_from(sum)
            .map(Micro)
            .map_err(|_| MicroError::Overflow)
    }

    /// `self * num / den`, exact in 128 bits and rounded once, half to even, to a millionth.
    ///
    /// # Errors
    /// [`MicroError::DivisionByZero`] if `den` is 0; [`MicroError::Overflow`] if the result does not fit.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// // A third of one millionth-exact unit, and a tie that goes to the even neighbour.
    /// assert_eq!(Micro::from_int(1).mul_div_half_even(1, 3), Ok(Micro::from_micro(333_333)));
    /// assert_eq!(Micro::from_micro(5).mul_div_half_even(1, 2), Ok(Micro::from_micro(2)));
    /// ```
    pub fn mul_div_half_even(self, num: i64, den: i64) -> Result<Micro, MicroError> {
        if den == 0 {
            return Err(MicroError::DivisionByZero);
        }
        // Two 64-bit factors always fit in 128 bits.
        let product = i128::from(self.0) * i128::from(num);
        round_half_even_div(product, i128::from(den))
            .and_then(|quotient| i64::try_from(quotient).ok())
            .map(Micro)
            .ok_or(MicroError::Overflow)
    }

    /// Whether the number is zero.
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// Whether the number is below zero.
    #[must_use]
    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// Whether the number is above zero.
    #[must_use]
    pub const fn is_positive(self) -> bool {
        self.0 > 0
    }

    /// The nearest binary floating point number, for physics only.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / MICRO_PER_UNIT as f64
    }

    /// Rounds the result of a physical computation to a millionth: `value * 10^6` in binary floating
    /// point, then half to even.
    ///
    /// # Errors
    /// [`MicroError::OutOfRange`] if the value is not finite or beyond 10^9.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// assert_eq!(Micro::from_f64_half_even(12.5), Ok(Micro::from_micro(12_500_000)));
    /// assert!(Micro::from_f64_half_even(f64::NAN).is_err());
    /// ```
    pub fn from_f64_half_even(value: f64) -> Result<Micro, MicroError> {
        if !value.is_finite() || value.abs() > INPUT_MAX_UNITS as f64 {
            return Err(MicroError::OutOfRange {
                value: value.to_string(),
            });
        }
        // At most 10^15 in magnitude, hence exactly representable as i64.
        Ok(Micro(
            (value * MICRO_PER_UNIT as f64).round_ties_even() as i64
        ))
    }
}

/// The millionths of a decimal without an exponent; none when they are no `i64`, or the text is no such decimal.
fn kept_micro(text: &str) -> Option<i64> {
    let (sign, unsigned) = match text.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, text),
    };
    let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let places = u32::try_from(fraction.len()).ok()?;
    let missing = u32::try_from(DECIMALS).ok()?.checked_sub(places)?;
    let digits: i128 = format!("{whole}{fraction}").parse().ok()?;
    i64::try_from(sign * digits.checked_mul(10_i128.pow(missing))?).ok()
}

/// What scaling a decimal to millionths gave.
enum Scaled {
    Exact(i64),
    TooFine,
    TooLarge,
}

/// Digits and a power of ten to millionths, without ever building a number beyond the limit.
fn scale(whole: &str, fraction: &str, exponent: i64) -> Scaled {
    let all: Vec<u8> = whole.bytes().chain(fraction.bytes()).collect();
    let first = all.iter().position(|&b| b != b'0').unwrap_or(all.len());
    let last = all.iter().rposition(|&b| b != b'0').map_or(0, |i| i + 1);
    if first >= last {
        return Scaled::Exact(0);
    }
    let significant = &all[first..last];
    // Power of ten, in millionths, of the last significant digit.
    let power = DECIMALS + exponent - fraction.len() as i64 + (all.len() - last) as i64;
    if power < 0 {
        return Scaled::TooFine;
    }
    // 10^9 units are 16 digits of millionths.
    if power + significant.len() as i64 > 16 {
        return Scaled::TooLarge;
    }
    let digits = significant
        .iter()
        .fold(0_i64, |n, b| n * 10 + i64::from(b - b'0'));
    Scaled::Exact((0..power).fold(digits, |n, _| n * 10))
}

/// The exponent of a decimal: an optional sign and digits. A very long one saturates, which is
/// enough to tell "too fine" from "out of range".
fn parse_exponent(text: &str) -> Option<i64> {
    let (negative, digits) = match text.as_bytes() {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        rest => (false, rest),
    };
    if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let magnitude = digits
        .iter()
        .fold(0_i64, |n, b| (n * 10 + i64::from(b - b'0')).min(1_000_000));
    Some(if negative { -magnitude } else { magnitude })
}

/// Cuts a value for an error text.
fn cut(text: &str) -> String {
    const SHOWN_CHARS: usize = 40;
    match text.char_indices().nth(SHOWN_CHARS) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

/// The shortest decimal: no trailing zeros, no exponent.
impl fmt::Display for Micro {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let magnitude = self.0.unsigned_abs();
        let unit = MICRO_PER_UNIT.unsigned_abs();
        let sign = if self.0 < 0 { "-" } else { "" };
        let mut text = format!("{sign}{}", magnitude / unit);
        let fraction = magnitude % unit;
        if fraction != 0 {
            let digits = format!("{fraction:06}");
            text.push('.');
            text.push_str(digits.trim_end_matches('0'));
        }
        f.pad(&text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(text: &str, expected: i64) {
        assert_eq!(Micro::parse(text), Ok(Micro(expected)), "{text:?}");
    }

    #[test]
    fn decimals_are_read_exactly() {
        check("0", 0);
        check("-0", 0);
        check("12.5", 12_500_000);
        check("-0.000001", -1);
        check("1000000000", 1_000_000_000_000_000);
        check("0012", 12_000_000);
        check("1e3", 1_000_000_000);
        check("1E-6", 1);
        check("0e999999999999999999999", 0);
        check("123.4500000e-1", 12_345_000);
        check("0.00000001e2", 1);
    }

    #[test]
    fn what_is_not_a_decimal_is_refused() {
        for bad in [
            " 1",
            "1 ",
            "+1",
            ".5",
            "1.",
            "-",
            ".",
            "1_000",
            "1,5",
            "0x10",
            "NaN",
            "inf",
            "-Infinity",
            "\u{ff11}",
            "\u{2212}1",
            "1e",
            "e1",
            "1e+",
            "1.2.3",
            "--1",
            "1e1.5",
            "١",
        ] {
            let refused = Micro::parse(bad);
            assert!(
                matches!(refused, Err(MicroError::NotADecimal { .. })),
                "{bad:?}: {refused:?}"
            );
        }
        assert_eq!(Micro::parse(""), Err(MicroError::Empty));
    }

    #[test]
    fn what_is_too_fine_or_too_large_is_refused() {
        for fine in ["0.0000001", "1.0000000", "1e-400", "1e-7", "12.34e-5"] {
            assert!(
                matches!(Micro::parse(fine), Err(MicroError::TooFine { .. })),
                "{fine}"
            );
        }
        for large in [
            "1000000000.000001",
            "1e400",
            "9e999",
            "1e10",
            "99999999999",
            "-1000000001",
        ] {
            assert!(
                matches!(Micro::parse(large), Err(MicroError::OutOfRange { .. })),
                "{large}"
            );
        }
        let long = "9".repeat(1_000);
        assert!(Micro::parse(&long).is_err_and(|e| e.to_string().len() < 200));
    }

    #[test]
    fn arithmetic_is_checked() {
        let most = Micro(i64::MAX);
        assert_eq!(most.checked_add(Micro(1)), Err(MicroError::Overflow));
        assert_eq!(Micro(i64::MIN).checked_neg(), Err(MicroError::Overflow));
        assert_eq!(
            Micro(i64::MIN).checked_sub(Micro(1)),
            Err(MicroError::Overflow)
        );
        assert_eq!(Micro::checked_sum([most, Micro(1), Micro(-1)]), Ok(most));
        assert_eq!(most.mul_div_half_even(2, 1), Err(MicroError::Overflow));
        assert_eq!(
            Micro(1).mul_div_half_even(1, 0),
            Err(MicroError::DivisionByZero)
        );
        assert_eq!(most.mul_div_half_even(i64::MAX, i64::MAX), Ok(most));
    }

    #[test]
    fn physics_is_rounded_once_to_even() {
        assert_eq!(Micro::from_f64_half_even(0.0000005), Ok(Micro(0)));
        assert_eq!(
            Micro::from_f64_half_even(1e9),
            Ok(Micro(1_000_000_000_000_000))
        );
        assert!(Micro::from_f64_half_even(1.1e9).is_err());
        assert!(Micro::from_f64_half_even(f64::INFINITY).is_err());
    }

    proptest! {
        #[test]
        fn text_round_trips(micro in -1_000_000_000_000_000_i64..=1_000_000_000_000_000) {
            prop_assert_eq!(Micro::parse(&Micro(micro).to_string()), Ok(Micro(micro)));
        }

        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            let _ = Micro::parse(&text);
        }

        #[test]
        fn text_like_a_decimal_never_panics(text in "-?[0-9]{0,25}(\\.[0-9]{0,25})?(e[+-]?[0-9]{0,25})?") {
            if let Ok(value) = Micro::parse(&text) {
                prop_assert!(value.micro().abs() <= INPUT_MAX_UNITS * MICRO_PER_UNIT);
            }
        }
    }
}
