//! A decimal in JSON: written as a string, read from a string or from a number short enough to be exact.
//!
//! Invariant: a JSON number is taken by its shortest round-trip digits and only up to 15 of them, which is
//! what binary floating point carries without loss; more is refused with "send a string". Deliberately
//! absent: a global switch to arbitrary-precision numbers.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::{INPUT_MAX_UNITS, MICRO_PER_UNIT, Micro, MicroError};

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
        Micro::parse(text).map_err(E::custom)
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

    proptest! {
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
                // `1.0000000` is too fine as a text, and one as a number.
                (Ok(read), Err(error)) => prop_assert!(
                    matches!(error, MicroError::TooFine { .. }) && number.trim_end_matches('0').len() < number.len(),
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
