//! A decimal in JSON: written as a string, read from a string or from a number short enough to be exact.
//!
//! Invariant: a JSON number is taken by its shortest round-trip digits and only up to 15 of them, which is
//! what binary floating point carries without loss; more is refused with "send a string". A document that we wrote
//! ourselves ([`kept_read`]) may hold sums that are larger than what is taken from outside: they read back as they were
//! written. Deliberately absent: a global switch to arbitrary-precision numbers.

use std::cell::Cell;
use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::{INPUT_MAX_UNITS, MICRO_PER_UNIT, Micro, MicroError};

thread_local! {
    /// Whether what this thread is reading at this moment is a document of our own. A decimal does not know who reads it,
    /// and the types of a kept document are those of one that is sent.
    static OURS: Cell<bool> = const { Cell::new(false) };
}

/// Reads a document that was written by us and kept: decimals in it are limited by their type alone.
///
/// # Errors
/// That of the document: not the JSON of a `T`.
///
/// ```
/// use heeltap::base::{Micro, kept_read};
/// let sum = "\"3000000000\""; // Three times the most that is taken from outside.
/// assert_eq!(kept_read::<Micro>(sum)?.to_string(), "3000000000");
/// assert!(serde_json::from_str::<Micro>(sum).is_err());
/// # Ok::<(), serde_json::Error>(())
/// ```
pub fn kept_read<'de, T: Deserialize<'de>>(text: &'de str) -> serde_json::Result<T> {
    /// Puts back what was there before, however the reading ends.
    struct Before(bool);
    impl Drop for Before {
        fn drop(&mut self) {
            OURS.set(self.0);
        }
    }
    let _before = Before(OURS.replace(true));
    serde_json::from_str(text)
}

impl Serialize for Micro {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Micro {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Micro, D::Error> {
        deserializer.deserialize_any(MicroVisitor)
    }
}

struct MicroVisitor;

impl de::Visitor<'_> for MicroVisitor {
    type Value = Micro;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a decimal as a string, such as \"12.5\"")
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<Micro, E> {
        let read = if OURS.get() {
            Micro::parse_kept
        } else {
            Micro::parse
        };
        read(text).map_err(E::custom)
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<Micro, E> {
        if number.unsigned_abs() > INPUT_MAX_UNITS.unsigned_abs() {
            let value = number.to_string();
            return Err(E::custom(MicroError::OutOfRange { value }));
        }
        Ok(Micro::from_micro(number * MICRO_PER_UNIT))
    }

    fn visit_u64<E: de::Error>(self, number: u64) -> Result<Micro, E> {
        // A number beyond i64 is beyond the limit as well; saturating keeps it there.
        self.visit_i64(i64::try_from(number).unwrap_or(i64::MAX))
    }

    fn visit_f64<E: de::Error>(self, number: f64) -> Result<Micro, E> {
        // Rust prints the shortest digits that read back as the same number.
        let shortest = format!("{number:e}");
        let significant = shortest
            .split('e')
            .next()
            .map_or(0, |m| m.bytes().filter(u8::is_ascii_digit).count());
        if number.is_finite() && significant > 15 {
            let value = number.to_string();
            return Err(E::custom(MicroError::SendAString { value }));
        }
        Micro::parse(&shortest).map_err(E::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn json_takes_a_string_or_a_short_number() {
        let read = |json: &str| serde_json::from_str::<Micro>(json).map_err(|e| e.to_string());
        assert_eq!(read("\"12.5\""), Ok(Micro::from_micro(12_500_000)));
        assert_eq!(read("12.5"), Ok(Micro::from_micro(12_500_000)));
        assert_eq!(read("-3"), Ok(Micro::from_micro(-3_000_000)));
        assert_eq!(read("0.1"), Ok(Micro::from_micro(100_000)));
        assert_eq!(
            read("123456789.123456"),
            Ok(Micro::from_micro(123_456_789_123_456))
        );
        assert_eq!(read("1e3"), Ok(Micro::from_micro(1_000_000_000)));
        assert!(read("0.1234567890123456").is_err_and(|e| e.contains("send a string")));
        assert!(read("1e400").is_err());
        assert!(read("1e300").is_err_and(|e| e.contains("out of range")));
        assert!(read("18446744073709551615").is_err_and(|e| e.contains("out of range")));
        assert!(read("1e-9").is_err_and(|e| e.contains("finer than a millionth")));
        assert!(read("true").is_err_and(|e| e.contains("`true`, expected a decimal as a string")));
        assert!(read("\"12,5\"").is_err_and(|e| e.contains("\"12,5\" is not a decimal")));
        let text = serde_json::to_string(&Micro::from_micro(1_500_000)).unwrap_or_default();
        assert_eq!(text, "\"1.5\"");
    }

    #[test]
    fn only_what_we_kept_may_be_larger_than_what_is_sent() {
        let sum = "[\"2000000000.000001\",\"-9223372036854.775808\"]";
        let kept = kept_read::<Vec<Micro>>(sum).map_err(|e| e.to_string());
        assert_eq!(
            kept,
            Ok(vec![
                Micro::from_micro(2_000_000_000_000_001),
                Micro::from_micro(i64::MIN)
            ])
        );
        assert!(kept_read::<Vec<Micro>>("[\"1\", \"x\"]").is_err());
        // Whatever a kept document was, the next one that is sent is held to the limit.
        assert!(
            serde_json::from_str::<Vec<Micro>>(sum)
                .is_err_and(|e| e.to_string().contains("out of range"))
        );
        assert!(kept_read::<Micro>("\"9223372036854.775808\"").is_err());
    }

    proptest! {
        #[test]
        fn any_decimal_of_ours_reads_back(micro in any::<i64>()) {
            let value = Micro::from_micro(micro);
            let written = serde_json::to_string(&value).expect("a decimal as JSON");
            prop_assert_eq!(kept_read::<Micro>(&written).ok(), Some(value));
        }

        #[test]
        fn what_is_written_is_read(micro in -1_000_000_000_000_000_i64..=1_000_000_000_000_000) {
            let value = Micro::from_micro(micro);
            let written = serde_json::to_string(&value).expect("a decimal as JSON");
            prop_assert_eq!(serde_json::from_str::<Micro>(&written).ok(), Some(value));
        }

        /// A number means what its digits mean, or is refused; up to 15 digits it is never refused.
        #[test]
        fn a_number_is_read_as_its_digits_stand(number in "-?(0|[1-9][0-9]{0,9})(\\.[0-9]{1,8})?(e-?[0-4])?") {
            let digits = number.split('e').next().unwrap_or_default();
            let significant = digits.bytes().filter(u8::is_ascii_digit).count();
            match (serde_json::from_str::<Micro>(&number), Micro::parse(&number)) {
                (Ok(read), Ok(text)) => prop_assert_eq!(read, text),
                // `1.0000000` is too fine as a text, and one as a number. Of a number with more than 15 digits, the last may be
                // lost before it is here: `360300000.00000001` is 360300000 to whoever reads JSON by binary floating point.
                (Ok(read), Err(error)) => prop_assert!(
                    matches!(error, MicroError::TooFine { .. })
                        && (significant > 15 || number.trim_end_matches('0').len() < number.len()),
                    "{} is {} and {}", number, read, error
                ),
                (Err(error), Ok(_)) => prop_assert!(significant > 15, "{}: {}", number, error),
                (Err(_), Err(_)) => {}
            }
        }

        #[test]
        fn any_json_is_read_or_refused(text in "[-+0-9.eE\"a-z ]{0,24}") {
            if let Ok(value) = serde_json::from_str::<Micro>(&text) {
                prop_assert!(value.micro().abs() <= INPUT_MAX_UNITS * MICRO_PER_UNIT);
            }
        }
    }
}
