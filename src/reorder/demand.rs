//! Daily demand gathered into buckets, the input of every forecast.
//!
//! Invariants: buckets are counted from the first day known, so that their edges never move from one day to the
//! next; a bucket whose last day is not over yet is left out; no bucket is negative. Deliberately absent: where
//! demand comes from (ledger, bookings, refused bookings) and what it was used for.

use chrono::NaiveDate;

/// Length of a bucket unless the lab sets another, in days.
pub const BUCKET_DAYS_DEFAULT: u16 = 7;
/// Longest bucket that is accepted, in days.
pub const BUCKET_DAYS_MAX: u16 = 366;

/// Demand of one local day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DailyDemand {
    /// The local day.
    pub on: NaiveDate,
    /// What was used, in millionths of the material's unit; a reversal is negative.
    pub quantity_micro: i64,
}

/// Why a demand series could not be gathered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DemandError {
    /// The bucket length is out of range.
    #[error("bucket_days is {0}, but must be from 1 to {BUCKET_DAYS_MAX}")]
    BucketDays(u16),
    /// A bucket's sum does not fit.
    #[error(
        "the demand of the {days} days from {from} does not fit; a quantity must be at most 10^9"
    )]
    TooLarge {
        /// First day of the bucket.
        from: NaiveDate,
        /// Length of the bucket, in days.
        days: u16,
    },
}

/// Demand by bucket, the oldest first, without gaps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Buckets {
    first_day: NaiveDate,
    bucket_days: u16,
    quantities_micro: Vec<i64>,
}

impl Buckets {
    /// First day of the first bucket.
    #[must_use]
    pub fn first_day(&self) -> NaiveDate {
        self.first_day
    }

    /// Length of each bucket, in days.
    #[must_use]
    pub fn bucket_days(&self) -> u16 {
        self.bucket_days
    }

    /// What each bucket used, in millionths of the unit, never negative.
    #[must_use]
    pub fn quantities_micro(&self) -> &[i64] {
        &self.quantities_micro
    }

    /// The same as numbers for the forecasts, still in millionths of the unit.
    #[must_use]
    pub fn as_f64(&self) -> Vec<f64> {
        self.quantities_micro.iter().map(|&q| q as f64).collect()
    }
}

/// Gathers `daily` into buckets of `bucket_days` (1 to 366), from `first_day` to the last bucket that ended before
/// `today`.
///
/// `first_day` is the first day for which demand is known, zero demand included; days before it and days from
/// the unfinished bucket on are left out. `daily` need not be sorted and may name a day twice. A bucket whose
/// reversals exceed its issues counts as 0.
///
/// # Errors
/// [`DemandError`] for a bucket length out of range or a sum beyond 64 bits.
///
/// ```
/// use chrono::NaiveDate;
/// use heeltap::reorder::demand::{DailyDemand, gather};
/// let day = |d| NaiveDate::from_ymd_opt(2031, 3, d).unwrap();
/// let daily = [(1, 5), (7, 1), (8, 2), (14, 4), (15, 9)]
///     .map(|(d, quantity_micro)| DailyDemand { on: day(d), quantity_micro });
/// let buckets = gather(&daily, day(1), day(16), 7).unwrap();
/// assert_eq!(buckets.quantities_micro(), [6, 6]);
/// ```
pub fn gather(
    daily: &[DailyDemand],
    first_day: NaiveDate,
    today: NaiveDate,
    bucket_days: u16,
) -> Result<Buckets, DemandError> {
    if bucket_days == 0 || bucket_days > BUCKET_DAYS_MAX {
        return Err(DemandError::BucketDays(bucket_days));
    }
    let length = i64::from(bucket_days);
    let complete = ((today - first_day).num_days() / length).max(0);
    let mut sums = vec![0_i128; usize::try_from(complete).unwrap_or(0)];
    for entry in daily {
        let offset = (entry.on - first_day).num_days();
        if offset < 0 {
            continue;
        }
        if let Some(sum) = usize::try_from(offset / length)
            .ok()
            .and_then(|at| sums.get_mut(at))
        {
            *sum += i128::from(entry.quantity_micro);
        }
    }
    let quantities_micro = sums
        .iter()
        .zip(0_u64..)
        .map(|(&sum, at)| {
            i64::try_from(sum.max(0)).map_err(|_| DemandError::TooLarge {
                from: first_day + chrono::Days::new(at * u64::from(bucket_days)),
                days: bucket_days,
            })
        })
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Buckets {
        first_day,
        bucket_days,
        quantities_micro,
    })
}

/// A forecast in millionths of the unit, rounded half away from zero; what does not fit is held at the bounds,
/// not-a-number is 0.
///
/// ```
/// use heeltap::reorder::demand::rounded_micro;
/// assert_eq!(rounded_micro(1.5), 2);
/// assert_eq!(rounded_micro(f64::INFINITY), i64::MAX);
/// assert_eq!(rounded_micro(f64::NAN), 0);
/// ```
#[must_use]
pub fn rounded_micro(micro: f64) -> i64 {
    // The conversion of a float by `as` saturates and turns not-a-number into 0.
    micro.round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::default() + chrono::Days::new(offset)
    }

    #[track_caller]
    fn check(daily: &[(u64, i64)], first: u64, today: u64, length: u16, expected: &[i64]) {
        let daily: Vec<_> = daily
            .iter()
            .map(|&(on, quantity_micro)| DailyDemand {
                on: day(on),
                quantity_micro,
            })
            .collect();
        let buckets = gather(&daily, day(first), day(today), length).unwrap();
        assert_eq!(buckets.quantities_micro(), expected);
    }

    #[test]
    fn buckets_begin_at_the_first_day_and_end_before_today() {
        check(&[(0, 1), (6, 2), (7, 4)], 0, 14, 7, &[3, 4]);
        check(&[(0, 1), (6, 2), (7, 4)], 0, 13, 7, &[3]);
        check(&[(0, 1), (6, 2), (7, 4)], 0, 6, 7, &[]);
        check(&[(0, 1), (2, 2), (3, 4)], 2, 6, 2, &[6, 0]);
    }

    #[test]
    fn today_before_the_first_day_gives_no_bucket() {
        check(&[(9, 1)], 9, 3, 7, &[]);
    }

    #[test]
    fn reversals_never_make_a_bucket_negative() {
        check(&[(0, 5), (1, -7), (8, 3), (9, -1)], 0, 14, 7, &[0, 2]);
    }

    #[test]
    fn an_unsorted_series_and_a_repeated_day_are_summed() {
        check(&[(8, 1), (0, 2), (8, 3)], 0, 14, 7, &[2, 4]);
    }

    #[test]
    fn errors_name_the_field() {
        let error = gather(&[], day(0), day(9), 0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "bucket_days is 0, but must be from 1 to 366"
        );
        let huge = [
            DailyDemand {
                on: day(8),
                quantity_micro: i64::MAX,
            },
            DailyDemand {
                on: day(9),
                quantity_micro: 1,
            },
        ];
        let error = gather(&huge, day(0), day(14), 7).unwrap_err();
        assert_eq!(
            error,
            DemandError::TooLarge {
                from: day(7),
                days: 7
            }
        );
    }
}
