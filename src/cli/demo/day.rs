//! Days of the demo's files: `today-420`, `today+180`.
//!
//! Invariants: a bench day never falls on a weekend, and of two bench days the one written earlier is never the later:
//! what is past moves to the Friday before, what is ahead to the Monday after. Deliberately absent: real dates, so that
//! the demo looks alive on any day.

use chrono::{Datelike, NaiveDate, TimeDelta, Weekday};

/// A day relative to today, in days: negative in the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Day(i64);

/// Days further off than this are mistyped.
const FAR: i64 = 3_660;

impl Day {
    /// Parses `today`, `today-3` or `today+3`.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no day of the demo: write today-420 or today+180");
        let rest = text.strip_prefix("today").ok_or_else(wrong)?;
        if rest.is_empty() {
            return Ok(Self(0));
        }
        let digits = rest.trim_start_matches(['-', '+']);
        let days: i64 = digits.parse().map_err(|_| wrong())?;
        if rest.len() != digits.len() + 1 || days > FAR {
            return Err(wrong());
        }
        Ok(Self(if rest.starts_with('-') { -days } else { days }))
    }

    /// The date itself, for what may fall on any day, such as an expiry.
    pub(super) fn date(self, today: NaiveDate) -> NaiveDate {
        today + TimeDelta::days(self.0)
    }

    /// The date on which somebody works.
    pub(super) fn bench(self, today: NaiveDate) -> NaiveDate {
        let date = self.date(today);
        let from_monday = i64::from(date.weekday().num_days_from_monday());
        match date.weekday() {
            Weekday::Sat | Weekday::Sun if self.0 > 0 => date + TimeDelta::days(7 - from_monday),
            Weekday::Sat | Weekday::Sun => date - TimeDelta::days(from_monday - 4),
            _ => date,
        }
    }

    /// Whether it lies ahead.
    #[cfg(test)]
    pub(super) fn is_ahead(self) -> bool {
        self.0 > 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_as_written() {
        assert_eq!(Day::parse("today"), Ok(Day(0)));
        assert_eq!(Day::parse("today-420"), Ok(Day(-420)));
        assert_eq!(Day::parse("today+7"), Ok(Day(7)));
        for text in [
            "",
            "tomorrow",
            "today7",
            "today--7",
            "today-",
            "today-1.5",
            "today-9999",
            "2026-03-02",
        ] {
            assert!(Day::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn nobody_works_on_a_weekend_and_the_order_stays() {
        let first: NaiveDate = "2024-02-26".parse().unwrap();
        for shift in 0..14 {
            let today = first + TimeDelta::days(shift);
            let dates: Vec<NaiveDate> = (-40..=40).map(|n| Day(n).bench(today)).collect();
            assert!(dates.windows(2).all(|pair| pair[0] <= pair[1]), "{today}");
            assert!(
                dates
                    .iter()
                    .all(|date| date.weekday().num_days_from_monday() < 5)
            );
            assert!(dates[..=40].iter().all(|date| *date <= today), "{today}");
            assert!(dates[41..].iter().all(|date| *date > today), "{today}");
        }
        let sunday: NaiveDate = "2024-03-03".parse().unwrap();
        assert_eq!(Day(0).bench(sunday).to_string(), "2024-03-01");
        assert_eq!(Day(6).bench(sunday).to_string(), "2024-03-11");
        assert_eq!(Day(6).date(sunday).to_string(), "2024-03-09");
    }
}
