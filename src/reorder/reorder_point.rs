//! The stock position at which to order, and the safety stock within it.
//!
//! The protection interval is lead time + review + undershoot. Smooth demand is taken as normal over it; any
//! other as the exact sum of draws from the empirical demand per bucket, scaled to the forecast mean, on a grid of
//! at most 256
//! steps. Invariants: neither figure is negative; a higher service level never gives a lower reorder point.
//! Absent: bookings, which [`super::assess`] takes off, and the day to order by, see [`super::walk`].

use super::classify::Ratio;
use super::demand::rounded_micro;
use super::distribution::{Distribution, DistributionError, STEPS_MAX};
use super::lead_time::{LeadTime, lead_time_demand_sd};
use super::service::{OutOfRange, normal_quantile, positive, z_for_fill_rate};
use super::still_to_come::StillToCome;

/// What a reorder point has to reach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ServiceTarget {
    /// Probability of no shortage in a protection interval, above 0 and below 1.
    Cycle(Ratio),
    /// Share of demand met from stock, above 0 and below 1, when `order_quantity_micro` (above 0) is ordered each time.
    FillRate {
        /// The share.
        rate: Ratio,
        /// The usual order, in millionths of the unit.
        order_quantity_micro: f64,
    },
}

impl ServiceTarget {
    /// What a demand must reach whose deviations from the mean are to be taken `factor` times as large afterwards: of a
    /// shortage that grows so, less is allowed.
    #[must_use]
    pub fn for_spread(&self, factor: f64) -> ServiceTarget {
        match *self {
            ServiceTarget::FillRate {
                rate,
                order_quantity_micro,
            } if factor > 0.0 => ServiceTarget::FillRate {
                rate,
                order_quantity_micro: order_quantity_micro / factor,
            },
            same => same,
        }
    }
}

/// Why there is no reorder point.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ReorderPointError {
    /// An argument is out of range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The demand has no distribution.
    #[error(transparent)]
    Distribution(#[from] DistributionError),
}

/// Parts of a day that are told apart where a share of a day is still to come.
const PARTS_OF_DAY: usize = 1000;

/// The time that stock on hand has to cover when an order is placed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProtectionInterval<'a> {
    /// The lead time.
    pub lead_time: LeadTime,
    /// Days between two looks at the stock, 0 or more.
    pub review_days: f64,
    /// Days of demand by which stock usually is below the reorder point when it is noticed, 0 or more.
    pub undershoot_days: f64,
    /// How much of the demand of each day of it is still to come.
    pub to_come: StillToCome<'a>,
}

impl ProtectionInterval<'_> {
    /// Mean length, in days.
    #[must_use]
    pub fn mean_days(&self) -> f64 {
        self.lead_time.mean_days + self.review_days.max(0.0) + self.undershoot_days.max(0.0)
    }

    /// The whole days' demand that is still to come within its mean length, in days.
    #[must_use]
    pub fn demand_days(&self) -> f64 {
        self.to_come.whole_days(self.mean_days())
    }

    /// Mean demand over it and its standard deviation: that of the demand and that of the lead time.
    #[must_use]
    pub fn demand_micro(&self, demand: &BucketDemand) -> (f64, f64) {
        let length = f64::from(demand.bucket_days.max(1));
        let buckets = self.demand_days() / length;
        let lead_sd = self.lead_time.sd_days / length;
        (
            demand.mean_micro * buckets,
            lead_time_demand_sd(demand.mean_micro, demand.sd_micro, buckets, lead_sd),
        )
    }

    /// The distribution of the number of buckets of `bucket_days`: a part of a bucket counts as a whole one
    /// with the probability of its share, which keeps the mean and leans to the safe side.
    fn by_bucket(&self, bucket_days: u16) -> Result<Distribution, DistributionError> {
        let length = usize::from(bucket_days.max(1)) * PARTS_OF_DAY;
        let fixed = (self.review_days.max(0.0) + self.undershoot_days.max(0.0)).ceil();
        let mut weights: Vec<u64> = Vec::new();
        for (days, weight) in self.lead_time.by_day() {
            let days = self.to_come.whole_days(f64::from(days) + fixed);
            let parts = (days * PARTS_OF_DAY as f64).round() as usize;
            let (whole, rest) = (parts / length, parts % length);
            if weights.len() < whole + 2 {
                weights.resize(whole + 2, 0);
            }
            weights[whole] += weight * (length - rest) as u64;
            weights[whole + 1] += weight * rest as u64;
        }
        Distribution::from_weights(&weights)
    }
}

/// Days of demand by which stock undershoots a reorder point: mean squared size over twice the squared mean size,
/// times the days per demand.
///
/// Source: the mean excess of a renewal process, E(X^2)/(2 E(X)) (from memory: Silver, Pyke and Thomas), turned into
/// days. `daily_micro` are the days' demands in millionths of the unit, of which those above 0 count; `days` is the
/// length of the history. Held to `at_most_days`, because a demand that comes once a year would else double the
/// stock (our rule).
///
/// ```
/// use heeltap::reorder::reorder_point::undershoot_days;
/// assert_eq!(undershoot_days(&[5, 0, 5, 0], 4, 30.0), 1.0);
/// assert_eq!(undershoot_days(&[], 4, 30.0), 0.0);
/// ```
#[must_use]
pub fn undershoot_days(daily_micro: &[i64], days: u32, at_most_days: f64) -> f64 {
    let sizes = || daily_micro.iter().filter(|&&q| q > 0).map(|&q| q as f64);
    let sum: f64 = sizes().sum();
    if sum <= 0.0 {
        return 0.0;
    }
    let squares: f64 = sizes().map(|size| size * size).sum();
    // With n demands: (squares / n) / (2 (sum / n)^2) times days / n, in which n cancels.
    (squares * f64::from(days) / (2.0 * sum * sum)).min(at_most_days.max(0.0))
}

/// A reorder point, in millionths of the unit, rounded once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReorderPoint {
    /// Order when the position is at or below this.
    pub reorder_point_micro: i64,
    /// How much of it is above the mean demand.
    pub safety_stock_micro: i64,
    /// Mean demand over the protection interval.
    pub mean_micro: i64,
}

impl ReorderPoint {
    /// The same with a safety stock `factor` times as large.
    ///
    /// ```
    /// use heeltap::reorder::reorder_point::ReorderPoint;
    /// let point = ReorderPoint { reorder_point_micro: 30, safety_stock_micro: 10, mean_micro: 20 };
    /// assert_eq!(point.spread(1.5).reorder_point_micro, 35);
    /// ```
    #[must_use]
    pub fn spread(&self, factor: f64) -> ReorderPoint {
        let safety_stock_micro = rounded_micro(self.safety_stock_micro as f64 * factor);
        let more_micro = safety_stock_micro.saturating_sub(self.safety_stock_micro);
        ReorderPoint {
            reorder_point_micro: self.reorder_point_micro.saturating_add(more_micro),
            safety_stock_micro,
            mean_micro: self.mean_micro,
        }
    }

    fn new(reorder_point_micro: f64, mean_micro: f64) -> ReorderPoint {
        ReorderPoint {
            reorder_point_micro: rounded_micro(reorder_point_micro.max(0.0)),
            safety_stock_micro: rounded_micro((reorder_point_micro - mean_micro).max(0.0)),
            mean_micro: rounded_micro(mean_micro),
        }
    }
}

/// Demand in one bucket, in millionths of the unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BucketDemand {
    /// Forecast mean, 0 or more.
    pub mean_micro: f64,
    /// Standard deviation of the demand about its forecast, 0 or more.
    pub sd_micro: f64,
    /// Length of the bucket, in days, 1 or more.
    pub bucket_days: u16,
}

/// The reorder point under normal demand: d P + z sqrt(P sd^2 + d^2 sL^2), P being the mean protection interval in
/// buckets, or what of it is still to come.
///
/// A service level below one half keeps a safety stock of 0, never a negative one.
///
/// # Errors
/// [`ReorderPointError::OutOfRange`] for a service target that is not between 0 and 1.
///
/// ```
/// use heeltap::reorder::{classify::Ratio, lead_time::{LeadTime, LeadTimeBasis}, reorder_point::*};
/// let lead_time = LeadTime { mean_days: 14.0, sd_days: 3.0, orders: 5, basis: LeadTimeBasis::PastOrders };
/// let interval = ProtectionInterval { lead_time, review_days: 0.0, undershoot_days: 0.0, to_come: Default::default() };
/// let demand = BucketDemand { mean_micro: 20e6, sd_micro: 6e6, bucket_days: 1 };
/// let target = ServiceTarget::Cycle(Ratio::new(95, 100).unwrap());
/// let found = normal_reorder_point(&demand, &interval, &target).unwrap();
/// assert_eq!(found.reorder_point_micro, 385_373_385);
/// assert_eq!(found.safety_stock_micro, 105_373_385);
/// ```
pub fn normal_reorder_point(
    demand: &BucketDemand,
    interval: &ProtectionInterval<'_>,
    target: &ServiceTarget,
) -> Result<ReorderPoint, ReorderPointError> {
    check_target(target)?;
    let (mean, sd) = interval.demand_micro(demand);
    let z = match *target {
        ServiceTarget::Cycle(level) => normal_quantile(level.as_f64())?,
        ServiceTarget::FillRate {
            rate,
            order_quantity_micro,
        } if sd > 0.0 => z_for_fill_rate(sd, order_quantity_micro, rate.as_f64())?,
        ServiceTarget::FillRate { .. } => 0.0,
    };
    Ok(ReorderPoint::new(mean + z.max(0.0) * sd, mean))
}

/// The reorder point under the empirical demand `history_micro` per bucket, scaled to the forecast `mean_micro`.
///
/// The grid's step is the range (mean + 8 standard deviations, or the largest sum) over 255, and twice that as long
/// as the quantile falls
/// on the last step. Sizes are rounded to the grid so that their sum is kept to half a step. The answer is a whole
/// number of steps, the
/// smallest that reaches the target. Nothing used, or a forecast of 0, gives 0.
///
/// # Errors
/// [`ReorderPointError::OutOfRange`] for a service target that is not between 0 and 1 or an order quantity of 0 or
/// less.
///
/// ```
/// use heeltap::reorder::{classify::Ratio, lead_time::{LeadTime, LeadTimeBasis}, reorder_point::*};
/// let lead_time = LeadTime { mean_days: 14.0, sd_days: 0.0, orders: 5, basis: LeadTimeBasis::PastOrders };
/// let interval = ProtectionInterval { lead_time, review_days: 0.0, undershoot_days: 0.0, to_come: Default::default() };
/// let target = ServiceTarget::Cycle(Ratio::new(76, 100).unwrap());
/// // Two weeks of 0 or 10 each: 20 with probability 1/4, which 0.76 no longer leaves out.
/// let history = [0, 10_000_000, 0, 10_000_000];
/// let found = empirical_reorder_point(&history, 5e6, 7, &interval, &target).unwrap();
/// assert!((found.reorder_point_micro - 20_000_000).abs() < 100_000);
/// ```
pub fn empirical_reorder_point(
    history_micro: &[i64],
    mean_micro: f64,
    bucket_days: u16,
    interval: &ProtectionInterval<'_>,
    target: &ServiceTarget,
) -> Result<ReorderPoint, ReorderPointError> {
    check_target(target)?;
    let sizes = scaled_sizes(history_micro, mean_micro);
    let mean = mean_micro.max(0.0) * interval.demand_days() / f64::from(bucket_days.max(1));
    let Some(&largest) = sizes.last().filter(|size| **size > 0.0) else {
        return Ok(ReorderPoint::new(0.0, 0.0));
    };
    let counts = interval.by_bucket(bucket_days)?;
    let range = range_micro(&sizes, &counts);
    let mut step_micro = (range / (STEPS_MAX - 1) as f64).max(1.0);
    let mut at_least = 0.0_f64;
    loop {
        let unit = on_grid(&sizes, step_micro)?;
        let sum = unit.sum_of_random(&counts, STEPS_MAX - 1);
        let steps = steps_for(&sum, step_micro, target);
        let complete = unit.largest() * counts.largest() < STEPS_MAX;
        if complete || steps < STEPS_MAX - 1 || step_micro > largest * counts.largest() as f64 {
            let found = (steps as f64 * step_micro).max(at_least);
            return Ok(ReorderPoint::new(found, mean));
        }
        at_least = steps as f64 * step_micro;
        step_micro *= 2.0;
    }
}

fn check_target(target: &ServiceTarget) -> Result<(), OutOfRange> {
    let (level, name) = match *target {
        ServiceTarget::Cycle(level) => (level.as_f64(), "service_level"),
        ServiceTarget::FillRate {
            rate,
            order_quantity_micro,
        } => {
            positive("order_quantity", order_quantity_micro)?;
            (rate.as_f64(), "fill_rate")
        }
    };
    if level > 0.0 && level < 1.0 {
        Ok(())
    } else {
        Err(OutOfRange {
            parameter: name,
            value: level,
            bounds: "above 0 and below 1",
        })
    }
}

/// The sizes by rising order, zeros included, scaled so that their mean is the forecast.
fn scaled_sizes(history_micro: &[i64], mean_micro: f64) -> Vec<f64> {
    let mut sizes: Vec<f64> = history_micro.iter().map(|&q| q.max(0) as f64).collect();
    sizes.sort_by(f64::total_cmp);
    let sum: f64 = sizes.iter().sum();
    let scale = if sum > 0.0 && mean_micro.is_finite() {
        mean_micro.max(0.0) * sizes.len() as f64 / sum
    } else {
        0.0
    };
    sizes.iter_mut().for_each(|size| *size *= scale);
    sizes
}

/// Population standard deviation of `history_micro` scaled to the forecast mean, in millionths of the unit.
///
/// ```
/// use heeltap::reorder::reorder_point::scaled_sd_micro;
/// assert_eq!(scaled_sd_micro(&[0, 4], 2.0), 2.0);
/// assert_eq!(scaled_sd_micro(&[0, 4], 1.0), 1.0);
/// ```
#[must_use]
pub fn scaled_sd_micro(history_micro: &[i64], mean_micro: f64) -> f64 {
    moments(&scaled_sizes(history_micro, mean_micro)).1.sqrt()
}

fn moments(sizes: &[f64]) -> (f64, f64) {
    let count = sizes.len().max(1) as f64;
    let mean = sizes.iter().sum::<f64>() / count;
    let variance = sizes.iter().map(|size| (size - mean).powi(2)).sum::<f64>() / count;
    (mean, variance)
}

fn range_micro(sizes: &[f64], counts: &Distribution) -> f64 {
    let (mean, variance) = moments(sizes);
    let periods = counts.mean();
    let sd = (periods * variance + mean * mean * counts.variance()).sqrt();
    let largest = sizes.last().copied().unwrap_or(0.0) * counts.largest() as f64;
    (mean * periods + 8.0 * sd).min(largest)
}

/// Rounds each size to the grid, carrying what was rounded off to the next larger one; a size of 0 stays 0.
fn on_grid(sizes: &[f64], step_micro: f64) -> Result<Distribution, DistributionError> {
    let mut carried = 0.0;
    Distribution::from_observations(sizes.iter().map(|&size| {
        if size <= 0.0 {
            return 0;
        }
        let wanted = size / step_micro + carried;
        let steps = wanted.round().max(0.0);
        carried = wanted - steps;
        steps as usize
    }))
}

fn steps_for(sum: &Distribution, step_micro: f64, target: &ServiceTarget) -> usize {
    match *target {
        ServiceTarget::Cycle(level) => sum.quantile(level),
        ServiceTarget::FillRate {
            rate,
            order_quantity_micro,
        } => {
            let allowed = (1.0 - rate.as_f64()) * order_quantity_micro / step_micro;
            // The shortage falls with the stock, so that the first step allowed is found by halving.
            let (mut low, mut high) = (0, sum.largest());
            while low < high {
                let middle = low + (high - low) / 2;
                if sum.expected_shortage(middle) <= allowed {
                    high = middle;
                } else {
                    low = middle + 1;
                }
            }
            low
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::lead_time::lead_time;
    use super::*;
    use proptest::prelude::*;

    fn interval(days: f64) -> ProtectionInterval<'static> {
        ProtectionInterval {
            lead_time: lead_time(&[], Some(days)).unwrap(),
            review_days: 1.0,
            undershoot_days: 0.5,
            to_come: StillToCome::default(),
        }
    }

    fn cycle(thousandths: u128) -> ServiceTarget {
        ServiceTarget::Cycle(Ratio::new(thousandths, 1000).unwrap())
    }

    fn fill(thousandths: u128) -> ServiceTarget {
        ServiceTarget::FillRate {
            rate: Ratio::new(thousandths, 1000).unwrap(),
            order_quantity_micro: 10e6,
        }
    }

    #[track_caller]
    fn check(history: &[i64], target: ServiceTarget, expected_micro: i64, within_micro: i64) {
        let found = empirical_reorder_point(history, 5e6, 7, &interval(10.0), &target).unwrap();
        let off = (found.reorder_point_micro - expected_micro).abs();
        assert!(
            off <= within_micro,
            "{} is not {expected_micro}",
            found.reorder_point_micro
        );
    }

    #[test]
    fn even_demand_agrees_with_the_normal_one() {
        // A wide, even history over many weeks is nearly normal: both ways must agree to the grid and the skew.
        let history: Vec<i64> = (0..=100).map(|x| x * 100_000).collect();
        let mean = 5e6;
        let demand = BucketDemand {
            mean_micro: mean,
            sd_micro: scaled_sd_micro(&history, mean),
            bucket_days: 7,
        };
        let mut long = interval(120.0);
        long.lead_time.sd_days = 0.0;
        for target in [cycle(900), cycle(975), fill(990)] {
            let normal = normal_reorder_point(&demand, &long, &target).unwrap();
            let exact = empirical_reorder_point(&history, mean, 7, &long, &target).unwrap();
            let ratio = exact.reorder_point_micro as f64 / normal.reorder_point_micro as f64;
            assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
        }
    }

    #[test]
    fn a_demand_spread_twice_agrees_with_twice_the_deviation() {
        let history: Vec<i64> = (0..=100).map(|x| x * 100_000).collect();
        let demand = BucketDemand {
            mean_micro: 5e6,
            sd_micro: 2.0 * scaled_sd_micro(&history, 5e6),
            bucket_days: 7,
        };
        let mut long = interval(120.0);
        long.lead_time.sd_days = 0.0;
        for target in [cycle(900), cycle(975), fill(950)] {
            let normal = normal_reorder_point(&demand, &long, &target).unwrap();
            let exact =
                empirical_reorder_point(&history, 5e6, 7, &long, &target.for_spread(2.0)).unwrap();
            let wide = exact.spread(2.0);
            let ratio = wide.reorder_point_micro as f64 / normal.reorder_point_micro as f64;
            assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
            assert_eq!(wide.mean_micro, exact.mean_micro);
        }
    }

    #[test]
    fn nothing_used_needs_nothing() {
        check(&[], cycle(950), 0, 0);
        check(&[0, 0], cycle(950), 0, 0);
    }

    #[test]
    fn the_forecast_scales_the_history() {
        let once =
            empirical_reorder_point(&[0, 4, 8, 0], 3e6, 7, &interval(20.0), &cycle(950)).unwrap();
        let twice =
            empirical_reorder_point(&[0, 4, 8, 0], 6e6, 7, &interval(20.0), &cycle(950)).unwrap();
        assert!((twice.reorder_point_micro - 2 * once.reorder_point_micro).abs() <= 2);
    }

    #[test]
    fn a_rare_large_demand_does_not_hide_beyond_the_grid() {
        // One demand in 400 weeks lies far beyond eight standard deviations; 0.999 still has to see it.
        let mut history = vec![0; 399];
        history.push(2_000_000_000);
        check(&history, cycle(999), 2_000_000_000, 20_000_000);
    }

    #[test]
    fn targets_out_of_range_are_named() {
        let error =
            empirical_reorder_point(&[1], 1.0, 7, &interval(1.0), &cycle(1000)).unwrap_err();
        assert_eq!(
            error.to_string(),
            "service_level is 1, but must be above 0 and below 1"
        );
    }

    #[test]
    fn undershoot_of_even_demand_is_half_an_interval() {
        assert_eq!(undershoot_days(&[3, 0, 0, 0, 3, 0, 0, 0], 8, 9.0), 2.0);
        assert_eq!(undershoot_days(&[3, 0, 0, 0, 3, 0, 0, 0], 8, 1.0), 1.0);
    }

    #[test]
    fn what_is_booked_already_is_not_kept_in_stock() {
        let history: Vec<i64> = (0..=100).map(|x| x * 100_000).collect();
        let demand = BucketDemand {
            mean_micro: 5e6,
            sd_micro: scaled_sd_micro(&history, 5e6),
            bucket_days: 7,
        };
        let with = |days: f64, shares: &[f64]| {
            let mut interval = interval(days);
            interval.lead_time.sd_days = 0.0;
            interval.to_come = StillToCome::new(shares);
            let normal = normal_reorder_point(&demand, &interval, &cycle(950)).unwrap();
            let exact = empirical_reorder_point(&history, 5e6, 7, &interval, &cycle(950)).unwrap();
            (normal, exact)
        };
        // Half of each of 28 days is as good as 14 days less.
        let (whole, half) = (with(40.0, &[]), with(54.0, &[0.5; 28]));
        assert_eq!(whole.0, half.0);
        assert_eq!(whole.1, half.1);
        assert_eq!(with(54.0, &[1.0; 28]), with(54.0, &[]));
        // Nothing is to come before an order arrives: nothing is kept.
        assert_eq!(with(20.0, &[0.0; 30]).0.reorder_point_micro, 0);
        assert_eq!(with(20.0, &[0.0; 30]).1.reorder_point_micro, 0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn a_higher_service_level_never_lowers_the_reorder_point(
            history in prop::collection::vec(prop_oneof![3 => Just(0), 2 => 1_i64..50_000_000], 8..60),
            days in 1.0..60.0_f64, low in 500_u128..998, more in 0_u128..400,
        ) {
            let high = (low + more).min(999);
            for target in [cycle, fill] {
                let at = |level| empirical_reorder_point(&history, 4e6, 7, &interval(days), &target(level)).unwrap();
                prop_assert!(at(low).reorder_point_micro <= at(high).reorder_point_micro);
                let demand = BucketDemand { mean_micro: 4e6, sd_micro: 3e6, bucket_days: 7 };
                let normal = |level| normal_reorder_point(&demand, &interval(days), &target(level)).unwrap();
                prop_assert!(normal(low).reorder_point_micro <= normal(high).reorder_point_micro);
            }
        }

        #[test]
        fn a_longer_lead_time_never_lowers_the_reorder_point(
            history in prop::collection::vec(prop_oneof![3 => Just(0), 2 => 1_i64..50_000_000], 8..60),
            days in 1.0..40.0_f64, more in 0.0..20.0_f64, level in 500_u128..999,
        ) {
            let demand = BucketDemand { mean_micro: 4e6, sd_micro: 3e6, bucket_days: 7 };
            let normal = |days| normal_reorder_point(&demand, &interval(days), &cycle(level)).unwrap();
            prop_assert!(normal(days).reorder_point_micro <= normal(days + more).reorder_point_micro);
            // On one grid the sums rank exactly; the grids of two calls may differ by rounding only.
            let unit = on_grid(&scaled_sizes(&history, 4e6), 2e6).unwrap();
            let steps = |days| {
                let counts = interval(days).by_bucket(7).unwrap();
                unit.sum_of_random(&counts, 4095).quantile(Ratio::new(level, 1000).unwrap())
            };
            prop_assert!(steps(days) <= steps(days + more));
        }
    }
}
