//! Distributions over a grid of whole steps with whole-number weights, and their exact sums.
//!
//! The demand of several weeks is the sum of as many draws from the empirical weekly distribution (independent, with
//! replacement: the exact limit of the bootstrap of Willemain, Smart and Schwarz, Int. J. Forecasting 20 (2004)
//! 375-387, without its jitter and its Markov chain). Invariants: weights are integers and sum to the total; while
//! the total fits in 128
//! bits every result is exact; beyond that the cumulative weights are rounded to 2^-62 once per draw, so that
//! a cumulative probability after n draws is off by at most (2 n + 2) 2^-62. A quantile is the smallest x with
//! F(x) >= p, decided on the integers: with floats 0.7 x 0.7 would fall below 0.49. Absent: units; see
//! [`super::reorder_point`] for the size of a step.

use super::classify::Ratio;

/// Most steps of a grid.
pub const STEPS_MAX: usize = 256;
/// Bits of a total that no longer fits exactly.
const FIXED_BITS: u32 = 62;

/// Why there is no distribution.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DistributionError {
    /// Nothing has any weight.
    #[error("all weights are 0, but at least one must be above 0")]
    NoWeight,
    /// The weights are too large.
    #[error("the weights sum to more than 2^62; give smaller whole numbers")]
    TooHeavy,
    /// The weights are too many.
    #[error("there are {0} weights, but at most 65536 are accepted")]
    TooMany(usize),
}

/// A distribution over 0, 1, 2, ... steps: `k` has the probability weight of `k` / total.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Distribution {
    weights: Vec<u128>,
    total: u128,
    exact: bool,
}

impl Distribution {
    /// The distribution in which `k` has the weight `weights[k]`.
    ///
    /// # Errors
    /// [`DistributionError`] when all weights are 0, their sum is above 2^62, or there are more than 65,536.
    ///
    /// ```
    /// use heeltap::reorder::distribution::Distribution;
    /// let daily = Distribution::from_weights(&[7, 2, 1]).unwrap();
    /// assert_eq!(daily.probability(0), 0.7);
    /// assert!(Distribution::from_weights(&[0, 0]).is_err());
    /// ```
    pub fn from_weights(weights: &[u64]) -> Result<Distribution, DistributionError> {
        if weights.len() > 1 << 16 {
            return Err(DistributionError::TooMany(weights.len()));
        }
        let total: u128 = weights.iter().map(|&weight| u128::from(weight)).sum();
        if total == 0 {
            return Err(DistributionError::NoWeight);
        }
        if total > 1 << FIXED_BITS {
            return Err(DistributionError::TooHeavy);
        }
        let divisor = weights
            .iter()
            .fold(0, |gcd, &weight| greatest_common_divisor(gcd, weight));
        let divisor = u128::from(divisor.max(1));
        let mut weights: Vec<u128> = weights
            .iter()
            .map(|&weight| u128::from(weight) / divisor)
            .collect();
        drop_empty_end(&mut weights);
        Ok(Distribution {
            weights,
            total: total / divisor,
            exact: true,
        })
    }

    /// The distribution in which each of `steps` was seen once; values above 65,535 count as that.
    ///
    /// # Errors
    /// [`DistributionError::NoWeight`] for an empty list.
    ///
    /// ```
    /// use heeltap::reorder::distribution::Distribution;
    /// let history = Distribution::from_observations([0, 3, 0, 1]).unwrap();
    /// assert_eq!((history.mean(), history.probability(0)), (1.0, 0.5));
    /// ```
    pub fn from_observations(
        steps: impl IntoIterator<Item = usize>,
    ) -> Result<Distribution, DistributionError> {
        let mut weights: Vec<u64> = Vec::new();
        for step in steps {
            let step = step.min((1 << 16) - 1);
            if weights.len() <= step {
                weights.resize(step + 1, 0);
            }
            if let Some(weight) = weights.get_mut(step) {
                *weight += 1;
            }
        }
        Distribution::from_weights(&weights)
    }

    /// Whether every weight is exact, rather than rounded to 2^-62.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        self.exact
    }

    /// The largest step that can occur.
    #[must_use]
    pub fn largest(&self) -> usize {
        self.weights.len() - 1
    }

    /// Probability of `step`, as the nearest float.
    #[must_use]
    pub fn probability(&self, step: usize) -> f64 {
        self.weights
            .get(step)
            .map_or(0.0, |&weight| weight as f64 / self.total as f64)
    }

    /// Mean, in steps.
    #[must_use]
    pub fn mean(&self) -> f64 {
        (0..self.weights.len())
            .map(|step| step as f64 * self.probability(step))
            .sum()
    }

    /// Variance, in squared steps.
    #[must_use]
    pub fn variance(&self) -> f64 {
        let mean = self.mean();
        (0..self.weights.len())
            .map(|step| (step as f64 - mean).powi(2) * self.probability(step))
            .sum()
    }

    /// The smallest step x with F(x) >= `probability`; the largest step for a probability above 1.
    ///
    /// ```
    /// use heeltap::reorder::{classify::Ratio, distribution::Distribution};
    /// let two_days = Distribution::from_weights(&[7, 2, 1]).unwrap().sum_of(2, 256);
    /// assert_eq!(two_days.quantile(Ratio::new(49, 100).unwrap()), 0);
    /// assert_eq!(two_days.quantile(Ratio::new(50, 100).unwrap()), 1);
    /// ```
    #[must_use]
    pub fn quantile(&self, probability: Ratio) -> usize {
        let mut reached = 0;
        self.weights
            .iter()
            .position(|&weight| {
                reached += weight;
                Ratio::new(reached, self.total).is_some_and(|share| share >= probability)
            })
            .unwrap_or(self.largest())
    }

    /// Expected excess over a stock of `steps`, in steps.
    ///
    /// ```
    /// use heeltap::reorder::distribution::Distribution;
    /// let daily = Distribution::from_weights(&[7, 2, 1]).unwrap();
    /// assert!((daily.expected_shortage(1) - 0.1).abs() < 1e-15);
    /// ```
    #[must_use]
    pub fn expected_shortage(&self, steps: usize) -> f64 {
        (steps + 1..self.weights.len())
            .map(|step| (step - steps) as f64 * self.probability(step))
            .sum()
    }

    /// The distribution of the sum of `count` independent draws, on steps up to `largest`, which takes all that is
    /// above it.
    ///
    /// ```
    /// use heeltap::reorder::distribution::Distribution;
    /// let coin = Distribution::from_weights(&[1, 1]).unwrap();
    /// assert_eq!(coin.sum_of(4, 256).probability(2), 6.0 / 16.0);
    /// assert_eq!(coin.sum_of(4, 2).probability(2), 11.0 / 16.0);
    /// ```
    #[must_use]
    pub fn sum_of(&self, count: usize, largest: usize) -> Distribution {
        let mut weights = vec![0; count + 1];
        weights[count] = 1;
        let certain = Distribution {
            weights,
            total: 1,
            exact: true,
        };
        self.sum_of_random(&certain, largest)
    }

    /// The distribution of the sum of as many independent draws as `counts` says, on steps up to `largest`, which
    /// takes all that is above it.
    ///
    /// By Horner's rule in the number of draws: with n the most of them, sum c_k u^k T^(n - k) over C T^n, T being this
    /// distribution's total and C that of the counts.
    ///
    /// ```
    /// use heeltap::reorder::distribution::Distribution;
    /// let daily = Distribution::from_weights(&[0, 1]).unwrap();
    /// let days = Distribution::from_weights(&[0, 0, 3, 1]).unwrap();
    /// assert_eq!(daily.sum_of_random(&days, 256).probability(3), 0.25);
    /// ```
    #[must_use]
    pub fn sum_of_random(&self, counts: &Distribution, largest: usize) -> Distribution {
        let draws = u32::try_from(counts.largest()).unwrap_or(u32::MAX);
        let exact_total = self
            .total
            .checked_pow(draws)
            .and_then(|power| power.checked_mul(counts.total))
            .filter(|_| self.exact && counts.exact);
        match exact_total {
            Some(total) => Distribution {
                weights: horner_exact(self, counts, largest),
                total,
                exact: true,
            },
            None => horner_fixed(&self.fixed(), &counts.fixed(), largest),
        }
    }

    /// The same distribution with a total of 2^62.
    fn fixed(&self) -> Distribution {
        // Shifting first keeps the product below within 128 bits; it drops less than 2^-62 of the total.
        let shift = (128 - self.total.leading_zeros()).saturating_sub(65);
        let total = self.total >> shift;
        let mut reached = 0;
        let mut before = 0;
        let weights = self
            .weights
            .iter()
            .map(|&weight| {
                reached += weight;
                let scaled = (((reached >> shift) << FIXED_BITS) + total / 2) / total;
                let share = scaled - before;
                before = scaled;
                share
            })
            .collect();
        Distribution {
            weights,
            total: 1 << FIXED_BITS,
            exact: false,
        }
    }
}

fn greatest_common_divisor(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

fn drop_empty_end(weights: &mut Vec<u128>) {
    while weights.len() > 1 && weights.last() == Some(&0) {
        weights.pop();
    }
}

/// Weights of the sum of one draw from each; `largest` takes what is above it. The caller knows that the product of
/// the totals fits.
fn convolve(
    sums: &[u128],
    unit: &[(usize, u128)],
    unit_largest: usize,
    largest: usize,
) -> Vec<u128> {
    let mut result = vec![0; (sums.len() + unit_largest).min(largest + 1)];
    let end = result.len() - 1;
    for &(step, weight) in unit {
        let within = sums.len().min(end.saturating_sub(step));
        let (near, beyond) = sums.split_at(within);
        let cells = result.get_mut(step..).unwrap_or_default();
        for (cell, sum) in cells.iter_mut().zip(near) {
            *cell += *sum * weight;
        }
        // The last cell takes all that is above it.
        if let Some(last) = result.last_mut() {
            *last += beyond.iter().sum::<u128>() * weight;
        }
    }
    result
}

fn occupied(distribution: &Distribution) -> Vec<(usize, u128)> {
    distribution
        .weights
        .iter()
        .copied()
        .enumerate()
        .filter(|(_, weight)| *weight > 0)
        .collect()
}

fn horner_exact(unit: &Distribution, counts: &Distribution, largest: usize) -> Vec<u128> {
    let cells = occupied(unit);
    let mut power = 1;
    let mut sums = vec![0];
    for (draws_left, &count) in counts.weights.iter().enumerate().rev() {
        if let Some(none) = sums.first_mut() {
            *none += count * power;
        }
        if draws_left > 0 {
            sums = convolve(&sums, &cells, unit.largest(), largest);
            power *= unit.total;
        }
    }
    drop_empty_end(&mut sums);
    sums
}

fn horner_fixed(unit: &Distribution, counts: &Distribution, largest: usize) -> Distribution {
    let cells = occupied(unit);
    let mut sums = vec![0];
    for (draws_left, &count) in counts.weights.iter().enumerate().rev() {
        if let Some(none) = sums.first_mut() {
            *none += count;
        }
        if draws_left > 0 {
            sums = convolve(&sums, &cells, unit.largest(), largest);
            let (mut reached, mut before) = (0_u128, 0);
            for weight in &mut sums {
                reached += *weight;
                let rounded = (reached + (1 << (FIXED_BITS - 1))) >> FIXED_BITS;
                *weight = rounded - before;
                before = rounded;
            }
        }
    }
    drop_empty_end(&mut sums);
    Distribution {
        weights: sums,
        total: counts.total,
        exact: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ratio(numerator: u128, denominator: u128) -> Ratio {
        Ratio::new(numerator, denominator).unwrap()
    }

    #[track_caller]
    fn check(weights: &[u64], count: usize, largest: usize, expected: &[u64]) {
        let found = Distribution::from_weights(weights)
            .unwrap()
            .sum_of(count, largest);
        let expected = Distribution::from_weights(expected).unwrap();
        assert!(found.is_exact());
        let steps = 0..found.weights.len().max(expected.weights.len());
        for step in steps {
            assert_eq!(
                found.probability(step),
                expected.probability(step),
                "step {step}"
            );
        }
    }

    #[test]
    fn sums_are_exact() {
        check(&[7, 2, 1], 2, 256, &[49, 28, 18, 4, 1]);
        check(&[7, 2, 1], 2, 2, &[49, 28, 23]);
        check(&[7, 2, 1], 0, 256, &[1]);
        check(&[0, 1], 5, 256, &[0, 0, 0, 0, 0, 1]);
    }

    #[test]
    fn equality_at_the_quantile_is_not_missed() {
        let sum = Distribution::from_weights(&[7, 2, 1])
            .unwrap()
            .sum_of(2, 256);
        assert_eq!(sum.quantile(ratio(49, 100)), 0);
        assert_eq!(sum.quantile(ratio(490_001, 1_000_000)), 1);
        assert_eq!(sum.quantile(ratio(1, 1)), 4);
        assert_eq!(sum.quantile(ratio(2, 1)), 4);
        assert_eq!(sum.quantile(ratio(0, 1)), 0);
    }

    #[test]
    fn beyond_128_bits_the_error_stays_within_its_bound() {
        // A draw of 1 with probability 1/3: after 100 draws the total is 3^100, about 2^158.
        let unit = Distribution::from_weights(&[2, 1]).unwrap();
        let sum = unit.sum_of(100, 256);
        assert!(!sum.is_exact());
        let mut binomial = (2.0_f64 / 3.0).powi(100);
        for step in 0..=100_usize {
            assert!(
                (sum.probability(step) - binomial).abs() < 1e-14,
                "step {step}"
            );
            binomial *= (100 - step) as f64 / (step + 1) as f64 / 2.0;
        }
        assert_eq!(sum.weights.iter().sum::<u128>(), sum.total);
    }

    #[test]
    fn errors_say_what_would_be_right() {
        assert_eq!(
            Distribution::from_weights(&[]),
            Err(DistributionError::NoWeight)
        );
        assert_eq!(
            Distribution::from_weights(&[1 << 62, 1]),
            Err(DistributionError::TooHeavy)
        );
        assert_eq!(
            Distribution::from_weights(&vec![1; (1 << 16) + 1]),
            Err(DistributionError::TooMany(65_537))
        );
    }

    proptest! {
        #[test]
        fn totals_are_kept_and_moments_add(
            unit in prop::collection::vec(0_u64..50, 1..20),
            counts in prop::collection::vec(0_u64..1000, 1..30),
        ) {
            prop_assume!(unit.iter().any(|&w| w > 0) && counts.iter().any(|&w| w > 0));
            let unit = Distribution::from_weights(&unit).unwrap();
            let counts = Distribution::from_weights(&counts).unwrap();
            let sum = unit.sum_of_random(&counts, 1000);
            prop_assert_eq!(sum.weights.iter().sum::<u128>(), sum.total);
            let (mean, variance) = (counts.mean() * unit.mean(),
                counts.mean() * unit.variance() + unit.mean().powi(2) * counts.variance());
            prop_assert!((sum.mean() - mean).abs() < 1e-9 * (1.0 + mean));
            prop_assert!((sum.variance() - variance).abs() < 1e-8 * (1.0 + variance));
        }

        #[test]
        fn a_higher_probability_never_has_a_lower_quantile(
            unit in prop::collection::vec(1_u64..50, 1..20), draws in 0_usize..40, low in 0_u128..1000, more in 0_u128..1000,
        ) {
            let sum = Distribution::from_weights(&unit).unwrap().sum_of(draws, STEPS_MAX);
            prop_assert!(sum.quantile(ratio(low, 1000)) <= sum.quantile(ratio(low + more, 1000)));
        }
    }
}
