//! Numbers as people write them in files, read under a stated decimal mark and never guessed.
//!
//! Invariants: a text with two readings is refused with both; a text with one reading that is not plain
//! (group separators, an exponent) is accepted with a warning; digits are 0-9 only. Deliberately absent:
//! negative numbers (a credit is a price correction, not a row), and units or currency signs in the cell.

use serde::{Deserialize, Serialize};

use crate::base::{Micro, MicroError};

/// Which character stands before the decimals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum DecimalMark {
    /// `1234.5`
    #[default]
    Point,
    /// `1234,5`
    Comma,
}

impl DecimalMark {
    /// Reads `point` or `comma`.
    ///
    /// ```
    /// use heeltap::purchasing::number::DecimalMark;
    /// assert_eq!(DecimalMark::parse("comma"), Some(DecimalMark::Comma));
    /// ```
    #[must_use]
    pub fn parse(name: &str) -> Option<DecimalMark> {
        match name {
            "point" => Some(DecimalMark::Point),
            "comma" => Some(DecimalMark::Comma),
            _ => None,
        }
    }

    /// The name of the parameter's value.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            DecimalMark::Point => "point",
            DecimalMark::Comma => "comma",
        }
    }

    const fn mark(self) -> char {
        match self {
            DecimalMark::Point => '.',
            DecimalMark::Comma => ',',
        }
    }

    const fn other(self) -> DecimalMark {
        match self {
            DecimalMark::Point => DecimalMark::Comma,
            DecimalMark::Comma => DecimalMark::Point,
        }
    }
}

/// A number and, where its writing was not plain, how it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadNumber<T> {
    /// The number.
    pub value: T,
    /// How an unusual writing was read.
    pub warning: Option<String>,
}

/// Why a cell is not a number.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NumberError {
    /// Nothing there.
    #[error("a number is needed here, such as 12.5")]
    Empty,
    /// Below zero.
    #[error("must not be negative; a return or credit is entered as a price correction")]
    Negative,
    /// Two readings.
    #[error("is ambiguous: {grouped} or {decimal}; write {grouped} or {decimal_as_written}")]
    Ambiguous {
        /// Read with a group separator.
        grouped: String,
        /// Read with a decimal mark.
        decimal: String,
        /// The decimal reading as it should be written under the stated mark.
        decimal_as_written: String,
    },
    /// Written with the other decimal mark.
    #[error(
        "is written with a decimal {written}, but the file is read with a decimal {stated}; send decimal={written} or write it with a decimal {stated}"
    )]
    OtherMark {
        /// The mark it is written with.
        written: &'static str,
        /// The mark that was stated.
        stated: &'static str,
    },
    /// Group separators that do not stand after every third digit.
    #[error(
        "has separators that do not stand between groups of three digits; write the digits without them"
    )]
    BadGrouping,
    /// A formula.
    #[error("is not a number but looks like a formula; write its result")]
    Formula,
    /// NaN or an infinity.
    #[error("is not a finite number; write digits")]
    NotFinite,
    /// Hexadecimal.
    #[error("is hexadecimal, which is not read; write it in decimal digits")]
    Hexadecimal,
    /// A sign that only looks like a minus.
    #[error("has U+{code:04X}, which is not a sign in the number format; write digits 0-9 only")]
    ForeignSign {
        /// The code point.
        code: u32,
    },
    /// Digits that are not 0-9.
    #[error("has digits outside 0-9 (U+{code:04X}); write it with 0-9")]
    ForeignDigits {
        /// The code point.
        code: u32,
    },
    /// Letters, signs or blanks around the digits.
    #[error(
        "is not a number: write digits with one decimal {mark}; units and currencies have columns of their own"
    )]
    NotANumber {
        /// The mark that was stated.
        mark: &'static str,
    },
    /// More than 6 decimal places.
    #[error(
        "is finer than the resolution of a millionth, and must not become another number; write at most 6 decimal places"
    )]
    TooFine,
    /// Beyond 10^9.
    #[error("is out of range: write a number up to 1000000000")]
    OutOfRange,
}

/// Characters that separate groups and have no other reading: no-break, narrow no-break and thin space.
const GROUP_BLANKS: [char; 3] = ['\u{a0}', '\u{202f}', '\u{2009}'];

/// Longest cell that is looked at as a number, in bytes.
const TEXT_MAX_BYTES: usize = 60;

/// Reads a number of zero or more under a stated decimal mark.
///
/// # Errors
/// [`NumberError`], whose text continues the value ("2,500 is ambiguous: ...").
///
/// ```
/// use heeltap::purchasing::number::{DecimalMark, read_number};
/// assert_eq!(read_number("89,50", DecimalMark::Comma)?.value.to_string(), "89.5");
/// assert!(read_number("1,234.50", DecimalMark::Point)?.warning.is_some());
/// assert!(read_number("2,500", DecimalMark::Point).is_err());
/// # Ok::<(), heeltap::purchasing::number::NumberError>(())
/// ```
pub fn read_number(text: &str, mark: DecimalMark) -> Result<ReadNumber<Micro>, NumberError> {
    let plain = plain_decimal(text, mark)?;
    let value = Micro::parse(&plain.value).map_err(|error| match error {
        MicroError::TooFine { .. } => NumberError::TooFine,
        MicroError::OutOfRange { .. } => NumberError::OutOfRange,
        _ => NumberError::NotANumber { mark: mark.name() },
    })?;
    let warning = plain
        .warning
        .map(|how| format!("{how}: it was read as {value}"));
    Ok(ReadNumber { value, warning })
}

/// Reads the writing of a number of zero or more into plain digits with a decimal point (and its exponent,
/// if it has one), whatever its size.
///
/// # Errors
/// [`NumberError`], except for size and fineness, which depend on the use.
///
/// ```
/// use heeltap::purchasing::number::{DecimalMark, plain_decimal};
/// assert_eq!(plain_decimal("1.234,5", DecimalMark::Comma)?.value, "1234.5");
/// # Ok::<(), heeltap::purchasing::number::NumberError>(())
/// ```
pub fn plain_decimal(text: &str, mark: DecimalMark) -> Result<ReadNumber<String>, NumberError> {
    let text = text.trim();
    let not_a_number = NumberError::NotANumber { mark: mark.name() };
    if text.is_empty() {
        return Err(NumberError::Empty);
    }
    refuse_what_is_no_number(text)?;
    if let Some(rest) = text.strip_prefix('-') {
        let number = rest.starts_with(|c: char| c.is_ascii_digit());
        return Err(if number {
            NumberError::Negative
        } else {
            not_a_number
        });
    }
    if text.len() > TEXT_MAX_BYTES {
        let digits = text.bytes().all(|b| b.is_ascii_digit());
        return Err(if digits {
            NumberError::OutOfRange
        } else {
            not_a_number
        });
    }
    let (mantissa, exponent) = match text.find(['e', 'E']) {
        Some(at) => text.split_at(at),
        None => (text, ""),
    };
    let known = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',') || GROUP_BLANKS.contains(&c);
    if !mantissa.starts_with(|c: char| c.is_ascii_digit())
        || !mantissa.chars().all(known)
        || !is_exponent(exponent)
    {
        return Err(not_a_number);
    }
    // Nobody groups digits before an exponent; a separator there has no reading at all.
    let plain = |c: char| c.is_ascii_digit() || c == mark.mark();
    if !exponent.is_empty() && !mantissa.chars().all(plain) {
        return Err(NumberError::BadGrouping);
    }
    let (digits, grouped) = plain_mantissa(mantissa, mark)?;
    let warning = match (grouped, exponent.is_empty()) {
        (true, _) => Some("has group separators"),
        (false, false) => Some("has an exponent, under which digits may have been lost"),
        (false, true) => None,
    };
    Ok(ReadNumber {
        value: format!("{digits}{exponent}"),
        warning: warning.map(str::to_owned),
    })
}

/// Whether a text is empty or `e`, an optional sign, and digits.
fn is_exponent(text: &str) -> bool {
    match text.strip_prefix(['e', 'E']) {
        None => text.is_empty(),
        Some(rest) => {
            let digits = rest.strip_prefix(['+', '-']).unwrap_or(rest);
            !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())
        }
    }
}

/// Refuses, with a reason of its own, what people and programs put where a number should stand.
fn refuse_what_is_no_number(text: &str) -> Result<(), NumberError> {
    if text.starts_with(['=', '@']) {
        return Err(NumberError::Formula);
    }
    let lower = text.to_lowercase();
    let unsigned = lower.trim_start_matches(['-', '+']);
    let not_finite = ["nan", "inf", "infinity", "1.#inf", "1.#qnan", "∞"];
    if not_finite.contains(&unsigned) {
        return Err(NumberError::NotFinite);
    }
    if unsigned.starts_with("0x") {
        return Err(NumberError::Hexadecimal);
    }
    let dash = |c: &char| {
        matches!(
            *c,
            '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe63}' | '\u{ff0d}' | '\u{ff0b}'
        )
    };
    if let Some(sign) = text.chars().find(dash) {
        let code = u32::from(sign);
        return Err(NumberError::ForeignSign { code });
    }
    match text.chars().find(|c| c.is_numeric() && !c.is_ascii_digit()) {
        Some(digit) => Err(NumberError::ForeignDigits {
            code: u32::from(digit),
        }),
        None => Ok(()),
    }
}

/// Digits, marks and blanks to plain digits with a point, and whether there were group separators.
fn plain_mantissa(text: &str, mark: DecimalMark) -> Result<(String, bool), NumberError> {
    let other = mark.other().mark();
    let other_mark = NumberError::OtherMark {
        written: mark.other().name(),
        stated: mark.name(),
    };
    let (whole, fraction) = match text.split_once(mark.mark()) {
        None => (text, None),
        Some((_, "")) => {
            return Err(NumberError::NotANumber { mark: mark.name() });
        }
        Some((whole, fraction)) => (whole, Some(fraction)),
    };
    if fraction.is_some_and(|f| !f.bytes().all(|b| b.is_ascii_digit())) {
        // "1.234,50" under a decimal point, or "1.234.567".
        let swapped = plain_mantissa_groups(text, mark.mark(), Some(other));
        return Err(if swapped {
            other_mark
        } else {
            NumberError::BadGrouping
        });
    }
    let joined = |digits: String| match fraction {
        Some(fraction) => format!("{digits}.{fraction}"),
        None => digits,
    };
    if whole.bytes().all(|b| b.is_ascii_digit()) {
        return Ok((joined(whole.to_owned()), false));
    }
    let separators: Vec<char> = whole.chars().filter(|c| !c.is_ascii_digit()).collect();
    let first = separators[0];
    let groups: Vec<&str> = whole.split(first).collect();
    if separators.iter().all(|c| *c == first) && are_groups(&groups) {
        if first == other && groups.len() == 2 && fraction.is_none() {
            return Err(ambiguous(&groups, mark));
        }
        return Ok((joined(groups.concat()), true));
    }
    let one_other = separators == [other] && fraction.is_none() && !groups[1].is_empty();
    Err(if one_other {
        other_mark
    } else {
        NumberError::BadGrouping
    })
}

/// Whether a text is groups of three under `group`, with at most one `decimal` after them.
fn plain_mantissa_groups(text: &str, group: char, decimal: Option<char>) -> bool {
    let whole = decimal
        .and_then(|mark| text.split_once(mark))
        .filter(|(_, fraction)| fraction.bytes().all(|b| b.is_ascii_digit()))
        .map_or(text, |(whole, _)| whole);
    are_groups(&whole.split(group).collect::<Vec<_>>())
}

/// Whether these are a first group of one to three digits without a leading zero, and groups of three.
fn are_groups(groups: &[&str]) -> bool {
    let digits = |g: &str| g.bytes().all(|b| b.is_ascii_digit());
    match groups {
        [first, rest @ ..] => {
            (1..=3).contains(&first.len())
                && !first.starts_with('0')
                && digits(first)
                && !rest.is_empty()
                && rest.iter().all(|g| g.len() == 3 && digits(g))
        }
        [] => false,
    }
}

fn ambiguous(groups: &[&str], mark: DecimalMark) -> NumberError {
    let decimals = groups[1].trim_end_matches('0');
    let decimal = |mark: char| match decimals {
        "" => groups[0].to_owned(),
        _ => format!("{}{mark}{decimals}", groups[0]),
    };
    NumberError::Ambiguous {
        grouped: groups.concat(),
        decimal: decimal('.'),
        decimal_as_written: decimal(mark.mark()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(text: &str, mark: DecimalMark, expected: &str, warned: bool) {
        let got = read_number(text, mark).map(|n| (n.value.to_string(), n.warning.is_some()));
        assert_eq!(got, Ok((expected.to_owned(), warned)), "{text:?}");
    }

    #[track_caller]
    fn refused(text: &str, mark: DecimalMark, part: &str) {
        let got = read_number(text, mark).map_err(|e| e.to_string());
        assert!(
            got.as_ref().is_err_and(|e| e.contains(part)),
            "{text:?}: {got:?}"
        );
    }

    #[test]
    fn plain_numbers_are_read_without_warning() {
        check("1100", DecimalMark::Point, "1100", false);
        check(" 89.50 ", DecimalMark::Point, "89.5", false);
        check("1,5", DecimalMark::Comma, "1.5", false);
        check("0.000001", DecimalMark::Point, "0.000001", false);
        // The stated mark decides: this is not two thousand five hundred.
        check("2.500", DecimalMark::Point, "2.5", false);
    }

    #[test]
    fn one_reading_is_accepted_with_a_warning() {
        check("1,234.50", DecimalMark::Point, "1234.5", true);
        check("1.234,50", DecimalMark::Comma, "1234.5", true);
        check("1,234,567", DecimalMark::Point, "1234567", true);
        check("1\u{a0}100", DecimalMark::Comma, "1100", true);
        check("12\u{202f}345,5", DecimalMark::Comma, "12345.5", true);
        check("1.1E+03", DecimalMark::Point, "1100", true);
    }

    #[test]
    fn two_readings_are_refused_with_both() {
        refused("2,500", DecimalMark::Point, "2500 or 2.5");
        refused("2.500", DecimalMark::Comma, "write 2500 or 2,5");
        refused("2,000", DecimalMark::Point, "2000 or 2;");
    }

    #[test]
    fn the_other_mark_is_named() {
        refused("1,5", DecimalMark::Point, "send decimal=comma");
        refused("0,500", DecimalMark::Point, "send decimal=comma");
        refused("89.50", DecimalMark::Comma, "send decimal=point");
        refused("1.234,50", DecimalMark::Point, "send decimal=comma");
        refused("1.234.567", DecimalMark::Point, "send decimal=comma");
    }

    #[test]
    fn bad_groups_are_refused() {
        for bad in [
            "1,23,456.0",
            "1\u{a0}10",
            "1,234\u{a0}567",
            "1,,234",
            "1,234e3",
        ] {
            refused(bad, DecimalMark::Point, "separators that do not stand");
        }
    }

    #[test]
    fn what_is_no_number_has_a_reason_of_its_own() {
        let point = DecimalMark::Point;
        refused("", point, "a number is needed");
        refused("=2*550", point, "formula");
        refused("nan", point, "finite");
        refused("-inf", point, "finite");
        refused("0x10", point, "hexadecimal");
        refused("\u{2212}5", point, "U+2212");
        refused("\u{ff11}\u{ff12}", point, "digits outside 0-9");
        refused("-5", point, "must not be negative");
        refused("-1e2", point, "must not be negative");
        refused("1e-400", point, "finer than the resolution");
        refused("9e999", point, "out of range");
        refused("5 kg", point, "columns of their own");
        refused("€5", point, "columns of their own");
        refused(".5", point, "is not a number");
        refused("5.", point, "is not a number");
        refused("+5", point, "is not a number");
        refused("1 100", point, "is not a number");
        refused(&"9".repeat(5_000), point, "out of range");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            let _ = read_number(&text, DecimalMark::Point);
            let _ = read_number(&text, DecimalMark::Comma);
        }

        #[test]
        fn text_like_a_number_is_read_or_refused(text in "[-0-9.,\u{a0}eE+]{0,20}") {
            for mark in [DecimalMark::Point, DecimalMark::Comma] {
                if let Ok(read) = read_number(&text, mark) {
                    prop_assert!(!read.value.is_negative());
                }
            }
        }

        #[test]
        fn no_number_has_two_values_under_the_two_marks_without_a_mark_being_stated(
            text in "[0-9]{1,4}[.,][0-9]{3}",
        ) {
            let point = read_number(&text, DecimalMark::Point);
            let comma = read_number(&text, DecimalMark::Comma);
            // One of the two refuses: a file read under the wrong mark cannot go through silently.
            prop_assert!(point.is_err() || comma.is_err());
        }
    }

    proptest! {
        #[test]
        fn a_plain_number_is_read_under_its_mark(micro in 0_i64..=1_000_000_000_000_000) {
            let value = Micro::from_micro(micro);
            for mark in [DecimalMark::Point, DecimalMark::Comma] {
                let text = value.to_string().replace('.', &mark.mark().to_string());
                // Three places after the mark may be a group of three digits, which is said.
                match read_number(&text, mark) {
                    Ok(read) => prop_assert_eq!(read, ReadNumber { value, warning: None }),
                    Err(error) => prop_assert!(matches!(error, NumberError::Ambiguous { .. }), "{}: {}", text, error),
                }
            }
        }
    }
}
