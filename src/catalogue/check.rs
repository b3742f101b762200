//! How a catalogue entry's values are held against their bounds: every fault is kept, none hides another.
//!
//! Invariants: a fault names the field by its JSON pointer, the value as it was sent, and what would be right.
//! The bounds are wide: they catch a wrong unit or a misplaced decimal point, not an unusual lab (*assumption*: a
//! thing on a bench is at most 10 m long). Deliberately absent: whether a code that is named exists (the store knows).

use crate::base::{FieldError, Micro};

/// The longest name of an entry, in characters.
pub(super) const NAME_MAX_CHARS: usize = 200;

/// An interval of decimals with the unit in which it is written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    low: Micro,
    low_allowed: bool,
    high: Micro,
    unit: &'static str,
}

impl Range {
    /// More than 0, at most `high`.
    pub(super) const fn above_0(high: i32, unit: &'static str) -> Self {
        Self {
            low: Micro::ZERO,
            low_allowed: false,
            high: Micro::from_int(high),
            unit,
        }
    }

    /// From `low` to `high`, both allowed.
    pub(super) const fn between(low: Micro, high: Micro, unit: &'static str) -> Self {
        Self {
            low,
            low_allowed: true,
            high,
            unit,
        }
    }

    /// From 0 to `high`, both allowed.
    pub(super) const fn from_0(high: i32, unit: &'static str) -> Self {
        Self::between(Micro::ZERO, Micro::from_int(high), unit)
    }

    fn holds(self, value: Micro) -> bool {
        value <= self.high && (value > self.low || (self.low_allowed && value == self.low))
    }

    fn words(self) -> String {
        let low = if self.low_allowed {
            "at least"
        } else {
            "more than"
        };
        let words = format!("{low} {} and at most {} {}", self.low, self.high, self.unit);
        words.trim_end().to_owned()
    }
}

/// A length that something has, such as a tray's side.
pub(super) const LENGTH_MM: Range = Range::above_0(10_000, "mm");
/// A length that may be nothing, such as a corner's radius.
pub(super) const LENGTH_OR_0_MM: Range = Range::from_0(10_000, "mm");
/// A mass that is weighed on a bench.
pub(super) const MASS_G: Range = Range::above_0(1_000_000, "g");
/// A mass that may be nothing.
pub(super) const MASS_OR_0_G: Range = Range::from_0(1_000_000, "g");
/// A density of a liquid or of a filled elastomer.
pub(super) const DENSITY_G_PER_ML: Range = Range::above_0(25, "g/mL");
/// A temperature of an oven or one that a thing stands.
pub(super) const TEMPERATURE_C: Range = Range::from_0(1_000, "degrees Celsius");
/// A time in minutes: up to about ten weeks.
pub(super) const MINUTES: Range = Range::above_0(100_000, "minutes");
/// A time in minutes that may be nothing.
pub(super) const MINUTES_OR_0: Range = Range::from_0(100_000, "minutes");
/// A share of a whole.
pub(super) const FRACTION: Range = Range::from_0(1, "");
/// A quantity in a material's unit that may be nothing.
pub(super) const QUANTITY_OR_0: Range = Range::from_0(1_000_000_000, "");
/// A quantity in a material's unit.
pub(super) const QUANTITY: Range = Range::above_0(1_000_000_000, "");
/// An amount of money.
pub(super) const AMOUNT: Range = Range::from_0(1_000_000_000, "in the base currency");
/// A probability at which a forecast is cut: a half or more, short of certainty.
pub(super) const QUANTILE: Range =
    Range::between(Micro::from_micro(500_000), Micro::from_micro(999_900), "");
/// Days: up to about a century.
pub(super) const DAYS_MAX: u32 = 36_500;
/// Pieces, casts or uses.
pub(super) const COUNT_MAX: u32 = 1_000_000;

/// Gathers the faults of one entry.
#[derive(Debug, Default)]
pub(super) struct Checks(Vec<FieldError>);

impl Checks {
    /// Nothing wrong yet, but for what is wrong with the name.
    pub(super) fn of_name(name: &str) -> Self {
        let mut checks = Self::default();
        checks.line("/name", name, NAME_MAX_CHARS);
        checks
    }

    /// Keeps a fault.
    pub(super) fn wrong(&mut self, pointer: impl Into<String>, detail: impl Into<String>) {
        self.0.push(FieldError::new(pointer, detail));
    }

    /// A line of text with something in it.
    pub(super) fn line(&mut self, pointer: &str, text: &str, chars_max: usize) {
        let good = !text.trim().is_empty()
            && text.chars().count() <= chars_max
            && !text.chars().any(char::is_control);
        if !good {
            let shown: String = text.chars().take(40).collect();
            self.wrong(
                pointer,
                format!(
                    "{shown:?} is not right: send 1 to {chars_max} characters, not only blanks and without control characters"
                ),
            );
        }
    }

    /// A decimal within a range.
    pub(super) fn decimal(
        &mut self,
        pointer: impl Into<String>,
        value: impl Into<Micro>,
        range: Range,
    ) {
        let value = value.into();
        if !range.holds(value) {
            self.wrong(
                pointer,
                format!("{value} is out of range: send {}", range.words()),
            );
        }
    }

    /// A decimal that may be left out.
    pub(super) fn decimal_if(
        &mut self,
        pointer: impl Into<String>,
        value: Option<impl Into<Micro>>,
        range: Range,
    ) {
        if let Some(value) = value {
            self.decimal(pointer, value, range);
        }
    }

    /// A count within bounds, if it was sent.
    pub(super) fn count_if(
        &mut self,
        pointer: impl Into<String>,
        value: Option<u32>,
        low: u32,
        high: u32,
    ) {
        if let Some(value) = value.filter(|value| !(low..=high).contains(value)) {
            self.wrong(
                pointer,
                format!("{value} is out of range: send a whole number from {low} to {high}"),
            );
        }
    }

    /// A list that is not too long.
    pub(super) fn length(&mut self, pointer: &str, length: usize, low: usize, high: usize) {
        if !(low..=high).contains(&length) {
            self.wrong(
                pointer,
                format!("there are {length} of them: send {low} to {high}"),
            );
        }
    }

    /// What was found.
    pub(super) fn done(self) -> Vec<FieldError> {
        self.0
    }
}

/// Reads `null` as what is meant by leaving the field out.
pub(super) fn null_as_default<'de, D, T>(deserializer: D) -> Result<T, D::Error>
where
    D: serde::Deserializer<'de>,
    T: Default + serde::Deserialize<'de>,
{
    use serde::Deserialize;
    Option::<T>::deserialize(deserializer).map(Option::unwrap_or_default)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(range: Range, value: &str, expected: Option<&str>) {
        let mut checks = Checks::default();
        checks.decimal("/x", Micro::parse(value).unwrap(), range);
        let found = checks.done();
        assert_eq!(found.first().map(|e| e.detail.as_str()), expected);
    }

    #[test]
    fn a_range_ends_where_it_says() {
        check(LENGTH_MM, "0.000001", None);
        check(LENGTH_MM, "10000", None);
        check(
            LENGTH_MM,
            "0",
            Some("0 is out of range: send more than 0 and at most 10000 mm"),
        );
        check(FRACTION, "0", None);
        check(
            FRACTION,
            "1.000001",
            Some("1.000001 is out of range: send at least 0 and at most 1"),
        );
        check(
            QUANTILE,
            "1",
            Some("1 is out of range: send at least 0.5 and at most 0.9999"),
        );
    }

    #[test]
    fn a_name_is_a_line_with_something_in_it() {
        let faults = |name: &str| Checks::of_name(name).done().len();
        assert_eq!(faults("Tray, 90 mm"), 0);
        assert_eq!(faults(&"ü".repeat(200)), 0);
        for bad in ["", "  ", "a\nb", &"a".repeat(201)] {
            assert_eq!(faults(bad), 1, "{bad:?}");
        }
    }

    #[test]
    fn a_count_out_of_bounds_says_which() {
        let mut checks = Checks::default();
        checks.count_if("/a", None, 1, 2);
        checks.count_if("/b", Some(2), 1, 2);
        checks.count_if("/c", Some(0), 1, 2);
        checks.length("/d", 3, 1, 2);
        let found: Vec<String> = checks.done().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, ["/c", "/d"]);
    }
}
