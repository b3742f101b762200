//! What time it is, as something that can be passed in.
//!
//! Invariants: an instant has microseconds and no more, as both databases keep them; a local date is
//! the date in the installation's time zone. The one place that reads the system's clock is
//! [`SystemClock`]. Deliberately absent: sleeping and timers.

use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, NaiveDate, SubsecRound, TimeDelta, Utc};
use chrono_tz::Tz;

/// A source of the present instant.
pub trait Clock: Send + Sync {
    /// The present instant, to the microsecond.
    fn now(&self) -> DateTime<Utc>;
}

/// The clock of the machine.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[allow(clippy::disallowed_methods)] // The one place where the wall clock is read.
    fn now(&self) -> DateTime<Utc> {
        Utc::now().trunc_subsecs(6)
    }
}

/// A clock that stands still until it is told otherwise, for tests and replays.
///
/// ```
/// use chrono::{DateTime, TimeDelta, Utc};
/// use heeltap::base::{Clock, ManualClock};
/// let clock = ManualClock::new(DateTime::<Utc>::UNIX_EPOCH);
/// clock.advance(TimeDelta::days(1));
/// assert_eq!(clock.now().timestamp(), 86_400);
/// ```
#[derive(Debug)]
pub struct ManualClock(Mutex<DateTime<Utc>>);

impl ManualClock {
    /// A clock that shows `now`.
    #[must_use]
    pub fn new(now: DateTime<Utc>) -> ManualClock {
        ManualClock(Mutex::new(now.trunc_subsecs(6)))
    }

    /// Sets what it shows.
    pub fn set(&self, now: DateTime<Utc>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = now.trunc_subsecs(6);
    }

    /// Moves it on (or back, if negative); it stays where it is if the result is no date.
    pub fn advance(&self, by: TimeDelta) {
        let mut now = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(later) = now.checked_add_signed(by) {
            *now = later.trunc_subsecs(6);
        }
    }
}

impl Clock for ManualClock {
    fn now(&self) -> DateTime<Utc> {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The date of an instant in a time zone.
///
/// ```
/// use chrono::{DateTime, NaiveDate, Utc};
/// use heeltap::base::local_date;
/// let late = "2026-02-03T23:30:00Z".parse::<DateTime<Utc>>()?;
/// assert_eq!(local_date(late, chrono_tz::Europe::Amsterdam).to_string(), "2026-02-04");
/// # Ok::<(), chrono::ParseError>(())
/// ```
#[must_use]
pub fn local_date(now: DateTime<Utc>, zone: Tz) -> NaiveDate {
    now.with_timezone(&zone).date_naive()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_system_clock_has_no_more_than_microseconds() {
        assert_eq!(SystemClock.now().timestamp_subsec_nanos() % 1_000, 0);
    }

    #[test]
    fn a_date_may_differ_from_the_utc_date_either_way() {
        let at = |text: &str| {
            text.parse::<DateTime<Utc>>().map(|t| {
                (
                    local_date(t, chrono_tz::Pacific::Auckland).to_string(),
                    local_date(t, chrono_tz::America::Los_Angeles).to_string(),
                )
            })
        };
        assert_eq!(
            at("2026-06-30T12:00:00Z"),
            Ok(("2026-07-01".to_owned(), "2026-06-30".to_owned()))
        );
    }
}
