//! The days a report is about, both included; an end that is not given is open.
//!
//! Invariant: a period does not end before it begins. Deliberately absent: whether a period is closed (the period guard
//! knows).

use std::fmt;

use chrono::NaiveDate;

/// The first and last day that both databases and every calendar here can write: an open end.
const FIRST_DAY: NaiveDate = NaiveDate::from_ymd_opt(1, 1, 1).expect("a day");
const LAST_DAY: NaiveDate = NaiveDate::from_ymd_opt(9999, 12, 31).expect("a day");

/// Days from `from` to `to`, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Period {
    /// Not after `to`, where both are given.
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
}

/// Why a period was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PeriodError {
    /// Not a day.
    #[error("{name} `{value}` is not a day: write YYYY-MM-DD, such as 2026-03-31")]
    NotADay {
        /// The parameter.
        name: &'static str,
        /// The text, cut if long.
        value: String,
    },
    /// It ends before it begins.
    #[error("from {from} is after to {to}: let the period begin on or before the day it ends")]
    Reversed {
        /// The first day.
        from: NaiveDate,
        /// The last day.
        to: NaiveDate,
    },
}

impl Period {
    /// Reads a period from the texts of its ends, each `YYYY-MM-DD` or open.
    ///
    /// # Errors
    /// [`PeriodError`] naming the parameter and the value.
    ///
    /// ```
    /// use heeltap::costing::period::Period;
    /// let march = Period::parse(Some("2026-03-01"), Some("2026-03-31"))?;
    /// assert_eq!(march.file_part(), "2026-03-01-to-2026-03-31");
    /// assert!(Period::parse(Some("2026-02-30"), None).is_err());
    /// assert!(Period::parse(Some("2026-03-02"), Some("2026-03-01")).is_err());
    /// # Ok::<(), heeltap::costing::period::PeriodError>(())
    /// ```
    pub fn parse(from: Option<&str>, to: Option<&str>) -> Result<Self, PeriodError> {
        let from = from.map(|text| day("from", text)).transpose()?;
        let to = to.map(|text| day("to", text)).transpose()?;
        match (from, to) {
            (Some(from), Some(to)) if from > to => Err(PeriodError::Reversed { from, to }),
            _ => Ok(Self { from, to }),
        }
    }

    /// The period between two days that came from one.
    pub(in crate::costing) const fn between(
        from: Option<NaiveDate>,
        to: Option<NaiveDate>,
    ) -> Self {
        Self { from, to }
    }

    /// The first day, unless open.
    #[must_use]
    pub const fn from(self) -> Option<NaiveDate> {
        self.from
    }

    /// The last day, unless open.
    #[must_use]
    pub const fn to(self) -> Option<NaiveDate> {
        self.to
    }

    /// Its first and last day, an open end as far away as a day can be.
    ///
    /// ```
    /// let (first, last) = heeltap::costing::period::Period::default().days();
    /// assert_eq!((first.to_string(), last.to_string()), ("0001-01-01".into(), "9999-12-31".into()));
    /// ```
    #[must_use]
    pub fn days(self) -> (NaiveDate, NaiveDate) {
        (self.from.unwrap_or(FIRST_DAY), self.to.unwrap_or(LAST_DAY))
    }

    /// The period as a part of a file's name.
    #[must_use]
    pub fn file_part(self) -> String {
        match (self.from, self.to) {
            (None, None) => "all-time".to_owned(),
            (Some(from), None) => format!("from-{from}"),
            (None, Some(to)) => format!("to-{to}"),
            (Some(from), Some(to)) => format!("{from}-to-{to}"),
        }
    }
}

impl fmt::Display for Period {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.from, self.to) {
            (None, None) => f.write_str("all time"),
            (Some(from), None) => write!(f, "from {from}"),
            (None, Some(to)) => write!(f, "to {to}"),
            (Some(from), Some(to)) => write!(f, "{from} to {to}"),
        }
    }
}

/// A day in the one way of writing it: the date library alone would take `2026-3-1` and signs as well.
fn day(name: &'static str, text: &str) -> Result<NaiveDate, PeriodError> {
    let shaped = text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    NaiveDate::parse_from_str(text, "%Y-%m-%d")
        .ok()
        .filter(|_| shaped)
        .ok_or_else(|| PeriodError::NotADay {
            name,
            value: text.chars().take(32).collect(),
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(from: Option<&str>, to: Option<&str>, expected: Result<&str, &str>) {
        let found = Period::parse(from, to);
        match expected {
            Ok(text) => assert_eq!(found.unwrap().to_string(), text),
            Err(part) => {
                let error = found.unwrap_err().to_string();
                assert!(error.contains(part), "{error}");
            }
        }
    }

    #[test]
    fn ends_are_days_in_order_or_open() {
        check(None, None, Ok("all time"));
        check(Some("2024-02-29"), None, Ok("from 2024-02-29"));
        check(None, Some("2026-01-01"), Ok("to 2026-01-01"));
        check(
            Some("2026-01-01"),
            Some("2026-01-01"),
            Ok("2026-01-01 to 2026-01-01"),
        );
        for bad in [
            "",
            "2026-3-1",
            "2026-02-29",
            "01.03.2026",
            "+2026-01-1",
            "2026-03-01T00:00",
        ] {
            check(Some(bad), None, Err(&format!("from `{bad}` is not a day")));
        }
        check(None, Some("yesterday"), Err("to `yesterday` is not a day"));
        check(
            Some("2026-03-02"),
            Some("2026-03-01"),
            Err("from 2026-03-02 is after to 2026-03-01"),
        );
    }
}
