//! When to ask next.
//!
//! Invariants: after a failure that may pass, the pauses grow twofold from [`PAUSE_S`], each shortened by chance to between
//! a half and the whole, so that many installations do not ask in step; after [`ATTEMPTS_MAX`] attempts, after a failure
//! that will not pass, and after a success there is rest for the interval. Deliberately absent: waiting.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

/// Attempts of one turn.
pub(super) const ATTEMPTS_MAX: u32 = 5;

/// The longest first pause, in seconds (*assumption*); with five attempts the last one is at most 30 s after the first.
pub(super) const PAUSE_S: u32 = 2;

/// When to ask next.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Schedule {
    /// Attempts of this turn that failed.
    failed: u32,
    /// Not before this instant; at once when none is set.
    next_at: Option<DateTime<Utc>>,
}

impl Schedule {
    /// Whether it is time to ask.
    pub(super) fn is_due(&self, now: DateTime<Utc>) -> bool {
        self.next_at.is_none_or(|next_at| now >= next_at)
    }

    /// Not before this instant.
    pub(super) fn next_at(&self) -> Option<DateTime<Utc>> {
        self.next_at
    }

    /// After a success.
    pub(super) fn succeeded(&mut self, now: DateTime<Utc>, interval: Duration) {
        self.rest(now, interval);
    }

    /// After a failure. `chance` is a number drawn at random.
    pub(super) fn failed(
        &mut self,
        now: DateTime<Utc>,
        interval: Duration,
        may_pass: bool,
        chance: u16,
    ) {
        self.failed += 1;
        if !may_pass || self.failed >= ATTEMPTS_MAX {
            self.rest(now, interval);
            return;
        }
        let longest_ms = (u64::from(PAUSE_S) * 1_000) << (self.failed - 1);
        let half = longest_ms / 2;
        let by_chance = half * u64::from(chance) / u64::from(u16::MAX);
        self.set(now, Duration::from_millis(half + by_chance));
    }

    fn rest(&mut self, now: DateTime<Utc>, interval: Duration) {
        self.failed = 0;
        self.set(now, interval);
    }

    fn set(&mut self, now: DateTime<Utc>, pause: Duration) {
        let pause = TimeDelta::from_std(pause).unwrap_or(TimeDelta::MAX);
        self.next_at = Some(
            now.checked_add_signed(pause)
                .unwrap_or(DateTime::<Utc>::MAX_UTC),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INTERVAL: Duration = Duration::from_secs(21_600);

    /// The pauses in milliseconds after failures, with the same chance each time.
    fn pauses(may_pass: bool, chance: u16, count: usize) -> Vec<i64> {
        let (mut schedule, mut now) = (Schedule::default(), DateTime::<Utc>::UNIX_EPOCH);
        assert!(schedule.is_due(now));
        let mut pauses = Vec::new();
        for _ in 0..count {
            schedule.failed(now, INTERVAL, may_pass, chance);
            let next_at = schedule.next_at().expect("an instant");
            pauses.push((next_at - now).num_milliseconds());
            assert!(!schedule.is_due(next_at - TimeDelta::milliseconds(1)));
            assert!(schedule.is_due(next_at));
            now = next_at;
        }
        pauses
    }

    #[test]
    fn pauses_grow_and_end_in_rest() {
        assert_eq!(
            pauses(true, u16::MAX, 6),
            [2_000, 4_000, 8_000, 16_000, 21_600_000, 2_000]
        );
        assert_eq!(pauses(true, 0, 5), [1_000, 2_000, 4_000, 8_000, 21_600_000]);
        assert_eq!(pauses(false, 0, 2), [21_600_000, 21_600_000]);
    }

    #[test]
    fn a_success_begins_anew_after_the_interval() {
        let mut schedule = Schedule::default();
        let now = DateTime::<Utc>::UNIX_EPOCH;
        schedule.failed(now, INTERVAL, true, 0);
        schedule.failed(now, INTERVAL, true, 0);
        schedule.succeeded(now, INTERVAL);
        assert_eq!(schedule.next_at(), Some(now + TimeDelta::hours(6)));
        schedule.failed(now, INTERVAL, true, 0);
        assert_eq!(schedule.next_at(), Some(now + TimeDelta::seconds(1)));
        schedule.succeeded(now, Duration::MAX);
        assert!(!schedule.is_due(now));
    }
}
