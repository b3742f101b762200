//! How an attempt ended, and what becomes of its delivery.
//!
//! Invariants: the pauses grow twofold from the first to the longest, each shortened by chance to between a half and the
//! whole, so that what failed together is not tried again together; what the receiver asks for is heard up to the longest
//! pause; after the most attempts, or when the receiver wants no more, a delivery is dead. Deliberately absent: waiting.

use std::time::Duration;

/// How an attempt ended. The words are for a person, and hold no address, name or secret.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AttemptEnd {
    /// The receiver has it.
    Delivered {
        /// What it answered.
        said: String,
    },
    /// The receiver does not have it; it may the next time.
    Failed {
        /// Why.
        said: String,
        /// How long the receiver asks to be left alone.
        retry_after: Option<Duration>,
    },
    /// The receiver will never take it.
    Refused {
        /// Why.
        said: String,
    },
}

impl AttemptEnd {
    /// What is kept as the last outcome.
    #[must_use]
    pub fn said(&self) -> &str {
        match self {
            AttemptEnd::Delivered { said }
            | AttemptEnd::Failed { said, .. }
            | AttemptEnd::Refused { said } => said,
        }
    }
}

/// What becomes of a delivery after an attempt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settlement {
    /// It is done.
    Delivered,
    /// It is attempted again after a pause.
    Again(Duration),
    /// It is given up, until somebody resends it.
    Dead,
}

/// How often a delivery is attempted, and with what pauses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Retries {
    /// The most attempts, 1 or more.
    pub attempts_max: u32,
    /// The longest pause after the first attempt.
    pub first: Duration,
    /// The longest pause of all.
    pub longest: Duration,
}

impl Default for Retries {
    /// Twelve attempts, the pauses from 30 s to 6 h: given up 7 to 15 hours after the first (*assumption*).
    fn default() -> Self {
        Self {
            attempts_max: 12,
            first: Duration::from_secs(30),
            longest: Duration::from_secs(6 * 3_600),
        }
    }
}

impl Retries {
    /// The pause after the attempt of this number, which begins at 1. `chance` is a number drawn at random.
    ///
    /// ```
    /// use std::time::Duration;
    /// use heeltap::notify::deliveries::attempt::Retries;
    /// let retries = Retries::default();
    /// assert_eq!(retries.pause(1, u32::MAX), Duration::from_secs(30));
    /// assert_eq!(retries.pause(3, u32::MAX), Duration::from_secs(120));
    /// assert_eq!(retries.pause(3, 0), Duration::from_secs(60));
    /// assert_eq!(retries.pause(40, u32::MAX), Duration::from_secs(21_600));
    /// ```
    #[must_use]
    pub fn pause(&self, attempt: u32, chance: u32) -> Duration {
        let doublings = attempt.saturating_sub(1).min(63);
        let first_ms = self.first.as_millis();
        // At most 2^64 ms times 2^63: in 128 bits.
        let grown_ms = first_ms.min(u128::from(u64::MAX)) << doublings;
        let whole_ms = grown_ms.min(self.longest.as_millis());
        let half_ms = whole_ms / 2;
        let by_chance_ms = (whole_ms - half_ms) * u128::from(chance) / u128::from(u32::MAX);
        Duration::from_millis(u64::try_from(half_ms + by_chance_ms).unwrap_or(u64::MAX))
    }

    /// What becomes of a delivery after the attempt of this number. `chance` is a number drawn at random.
    #[must_use]
    pub fn judge(&self, attempt: u32, end: &AttemptEnd, chance: u32) -> Settlement {
        match end {
            AttemptEnd::Delivered { .. } => Settlement::Delivered,
            AttemptEnd::Refused { .. } => Settlement::Dead,
            AttemptEnd::Failed { .. } if attempt >= self.attempts_max => Settlement::Dead,
            AttemptEnd::Failed { retry_after, .. } => {
                let asked = retry_after.unwrap_or_default().min(self.longest);
                Settlement::Again(self.pause(attempt, chance).max(asked))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const RETRIES: Retries = Retries {
        attempts_max: 5,
        first: Duration::from_secs(10),
        longest: Duration::from_secs(60),
    };

    fn failed(retry_after_s: Option<u64>) -> AttemptEnd {
        AttemptEnd::Failed {
            said: "answered 500".to_owned(),
            retry_after: retry_after_s.map(Duration::from_secs),
        }
    }

    /// Expected: the pause in seconds, or none when it is dead.
    #[track_caller]
    fn check(attempt: u32, retry_after_s: Option<u64>, expected: Option<u64>) {
        let settled = RETRIES.judge(attempt, &failed(retry_after_s), u32::MAX);
        let expected = expected.map_or(Settlement::Dead, |seconds| {
            Settlement::Again(Duration::from_secs(seconds))
        });
        assert_eq!(settled, expected);
    }

    #[test]
    fn a_failure_is_tried_again_until_the_attempts_are_used_up() {
        for (attempt, pause_s) in [(1, 10), (2, 20), (3, 40), (4, 60)] {
            check(attempt, None, Some(pause_s));
        }
        check(5, None, None);
        // An attempt that the end of a process cut short was counted, too.
        check(6, None, None);
    }

    #[test]
    fn what_the_receiver_asks_for_is_heard_up_to_the_longest_pause() {
        check(1, Some(30), Some(30));
        check(1, Some(5), Some(10));
        check(1, Some(86_400), Some(60));
        check(5, Some(30), None);
    }

    #[test]
    fn a_success_is_done_and_a_refusal_is_dead_at_once() {
        let said = || "answered".to_owned();
        for attempt in [1, 5, 9] {
            let delivered = AttemptEnd::Delivered { said: said() };
            let refused = AttemptEnd::Refused { said: said() };
            let judge = |end| RETRIES.judge(attempt, &end, 0);
            assert_eq!(judge(delivered), Settlement::Delivered);
            assert_eq!(judge(refused), Settlement::Dead);
        }
    }

    proptest! {
        /// Common practice ("equal jitter"): between a half and the whole of what doubling gives, never beyond the longest,
        /// and no shorter for a greater chance.
        #[test]
        fn a_pause_keeps_its_bounds(
            attempt in 1_u32..2_000,
            first_s in 0_u64..=u64::MAX / 1_000,
            longest_s in 0_u64..100_000,
            chance: u32,
            other: u32,
        ) {
            let retries = Retries {
                attempts_max: 12,
                first: Duration::from_secs(first_s),
                longest: Duration::from_secs(longest_s),
            };
            let pause = retries.pause(attempt, chance);
            // By doubling step by step, in another way than the function does.
            let mut whole = u128::from(first_s);
            for _ in 1..attempt {
                whole = (whole * 2).min(u128::from(longest_s));
            }
            let whole_ms = whole.min(u128::from(longest_s)) * 1_000;
            prop_assert!(pause.as_millis() >= whole_ms / 2);
            prop_assert!(pause.as_millis() <= whole_ms);
            prop_assert_eq!(retries.pause(attempt, u32::MAX).as_millis(), whole_ms);
            let (less, more) = (chance.min(other), chance.max(other));
            prop_assert!(retries.pause(attempt, less) <= retries.pause(attempt, more));
        }
    }
}
