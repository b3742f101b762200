//! How much of the unbooked demand of the days ahead is still to come, where part of it is among the bookings already.
//!
//! What is booked at short notice belongs to the unbooked demand of the history; of the same demand in the days ahead,
//! the part with the longer notice is booked by now. A share for each day ahead says what is left, and a day of which a
//! share is left counts as that share of a day, in mean and in variance alike: demand that comes piece by piece at random
//! and of which each piece is left with that probability keeps both (a Poisson process thinned; for demand that is booked
//! as a whole the variance is less, so that this leans to the safe side). Invariants: a share is between 0 and 1, and 1
//! beyond the last that is given; more days are never less demand. Absent: finding the shares in the books.

/// For each day ahead, today first, the share of its unbooked demand that is still to come; 1 beyond the last.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StillToCome<'a> {
    shares: &'a [f64],
}

impl<'a> StillToCome<'a> {
    /// The shares for 0, 1, 2, ... days ahead; what is not between 0 and 1 is held there, not-a-number is 1.
    #[must_use]
    pub const fn new(shares: &'a [f64]) -> StillToCome<'a> {
        StillToCome { shares }
    }

    /// The share of the day `ahead` days from today.
    ///
    /// ```
    /// use heeltap::reorder::still_to_come::StillToCome;
    /// let shares = StillToCome::new(&[0.25, 0.5]);
    /// assert_eq!((shares.of_day(1), shares.of_day(2)), (0.5, 1.0));
    /// ```
    #[must_use]
    pub fn of_day(&self, ahead: usize) -> f64 {
        match self.shares.get(ahead) {
            Some(share) if !share.is_nan() => share.clamp(0.0, 1.0),
            _ => 1.0,
        }
    }

    /// The whole days' demand that is still to come within the next `days` days, in days; of a last day in part, its
    /// part.
    ///
    /// ```
    /// use heeltap::reorder::still_to_come::StillToCome;
    /// let shares = StillToCome::new(&[0.25, 0.5]);
    /// assert_eq!(shares.whole_days(1.5), 0.5);
    /// assert_eq!(shares.whole_days(10.0), 8.75);
    /// assert_eq!(StillToCome::default().whole_days(10.0), 10.0);
    /// ```
    #[must_use]
    pub fn whole_days(&self, days: f64) -> f64 {
        let missing: f64 = (0..self.shares.len())
            .map(|ahead| (1.0 - self.of_day(ahead)) * (days - ahead as f64).clamp(0.0, 1.0))
            .sum();
        (days - missing).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_share_is_held_to_one() {
        let shares = StillToCome::new(&[-1.0, 2.0, f64::NAN, f64::INFINITY]);
        assert_eq!(
            [0, 1, 2, 3].map(|ahead| shares.of_day(ahead)),
            [0.0, 1.0, 1.0, 1.0]
        );
    }

    proptest! {
        #[test]
        fn whole_days_add_up_the_shares(shares in prop::collection::vec(0.0..=1.0_f64, 0..30), days in 0_usize..40) {
            let all = StillToCome::new(&shares);
            let sum: f64 = (0..days).map(|ahead| all.of_day(ahead)).sum();
            prop_assert!((all.whole_days(days as f64) - sum).abs() < 1e-9);
        }

        #[test]
        fn more_days_are_never_less_demand(
            shares in prop::collection::vec(0.0..=1.0_f64, 0..30), days in 0.0..40.0_f64, more in 0.0..5.0_f64,
        ) {
            let all = StillToCome::new(&shares);
            prop_assert!(all.whole_days(days + more) >= all.whole_days(days) - 1e-9);
        }
    }
}
