//! How many trays to cast for a wanted number of good chips.
//!
//! Model: the tray is the unit. Each tray draws its own yield from a beta distribution and its chips succeed with
//! it, so that the good chips of a tray are beta-binomial and those of a cast the sum over independent trays. The
//! beta starts from the lab's pooled yield with weight 10, else Beta(9, 1) (*assumption*), and takes up the
//! recipe's own good and rejected chips (conjugate update, textbook form, from memory).
//!
//! Invariants: more trays never lower the chance; trays never exceed [`TRAYS_MAX`]. Absent: where the history
//! comes from, and any change of yield over time.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

use super::bounds::{OutOfRange, at_least_one, between, positive};

/// Probability with which the wanted chips should be good.
pub const DEFAULT_PROBABILITY: f64 = 0.90;

/// Weight in chips that the lab's pooled yield has as a prior.
pub const POOLED_WEIGHT: f64 = 10.0;

/// Good and rejected chips of the prior without any history. Assumption.
pub const NO_HISTORY: (f64, f64) = (9.0, 1.0);

/// Most trays that are proposed.
pub const TRAYS_MAX: u32 = 10_000;

/// Most chips of one mold.
pub const CHIPS_MAX: u32 = 10_000;

/// Above this many elementary steps the sum over trays is taken as normal.
const EXACT_STEPS_MAX: u64 = 200_000;

/// A beta distribution of a tray's yield.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct YieldPosterior {
    /// Good chips, those of the prior included.
    pub good: f64,
    /// Rejected chips, those of the prior included.
    pub rejected: f64,
}

/// Chips counted at demold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct ChipCount {
    /// Good ones.
    pub good: u64,
    /// Rejected ones.
    pub rejected: u64,
}

/// Why no number of trays is proposed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum YieldError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Even the most trays are not enough.
    #[error(
        "good_chips_wanted is {wanted}, but {TRAYS_MAX} trays of {chips_per_tray} chips do not give that many with probability {probability}"
    )]
    TooMany {
        /// Chips wanted.
        wanted: u32,
        /// Chips of one tray.
        chips_per_tray: u32,
        /// The probability asked for.
        probability: f64,
    },
}

/// Trays to cast and what to expect of them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TraysNeeded {
    /// The smallest number of trays.
    pub trays: u32,
    /// Probability that at least the wanted chips are good.
    pub probability: f64,
    /// Good chips to expect.
    pub expected_good: f64,
}

impl YieldPosterior {
    /// The recipe's yield from its own history and the lab's pooled one.
    ///
    /// `pooled` are the lab's other casts; with none counted the prior is Beta(9, 1).
    ///
    /// ```
    /// use heeltap::casting::sums::yields::{ChipCount, YieldPosterior};
    /// let none = YieldPosterior::from_history(ChipCount::default(), ChipCount::default());
    /// assert_eq!(none.mean(), 0.9);
    /// let own = ChipCount { good: 30, rejected: 10 };
    /// let lab = ChipCount { good: 800, rejected: 200 };
    /// assert!((YieldPosterior::from_history(own, lab).mean() - 38.0 / 50.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn from_history(own: ChipCount, pooled: ChipCount) -> Self {
        let counted = pooled.good as f64 + pooled.rejected as f64;
        let (good, rejected) = if counted == 0.0 {
            NO_HISTORY
        } else {
            // Half a chip on either side keeps a lab that never rejected (or never succeeded) from certainty.
            let share = if pooled.good == 0 || pooled.rejected == 0 {
                (pooled.good as f64 + 0.5) / (counted + 1.0)
            } else {
                pooled.good as f64 / counted
            };
            (POOLED_WEIGHT * share, POOLED_WEIGHT * (1.0 - share))
        };
        Self {
            good: good + own.good as f64,
            rejected: rejected + own.rejected as f64,
        }
    }

    /// Mean yield.
    ///
    /// ```
    /// use heeltap::casting::sums::yields::YieldPosterior;
    /// assert_eq!(YieldPosterior { good: 9.0, rejected: 1.0 }.mean(), 0.9);
    /// ```
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.good / (self.good + self.rejected)
    }

    /// Good chips to expect of `trays` trays of `chips_per_tray`.
    ///
    /// ```
    /// use heeltap::casting::sums::yields::YieldPosterior;
    /// assert_eq!(YieldPosterior { good: 9.0, rejected: 1.0 }.expected_good(5, 4), 18.0);
    /// ```
    #[must_use]
    pub fn expected_good(&self, trays: u32, chips_per_tray: u32) -> f64 {
        f64::from(trays) * f64::from(chips_per_tray) * self.mean()
    }

    fn check(&self) -> Result<(), OutOfRange> {
        positive("yield good", self.good)?;
        positive("yield rejected", self.rejected)?;
        Ok(())
    }

    /// Probability of 0, 1, ... `chips` good chips in one tray (beta-binomial, by log-gamma).
    fn tray_probabilities(&self, chips: u32) -> Vec<f64> {
        let (a, b, n) = (self.good, self.rejected, f64::from(chips));
        let ln_beta = |x: f64, y: f64| ln_gamma(x) + ln_gamma(y) - ln_gamma(x + y);
        let whole = ln_gamma(n + 1.0) - ln_beta(a, b);
        let weights: Vec<f64> = (0..=chips)
            .map(|good| {
                let k = f64::from(good);
                let choose = whole - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0);
                (choose + ln_beta(k + a, n - k + b)).exp()
            })
            .collect();
        // The sum differs from 1 only by the rounding of log-gamma; dividing it out keeps it from adding up.
        let sum: f64 = weights.iter().sum();
        weights.into_iter().map(|weight| weight / sum).collect()
    }

    /// Mean and variance of the good chips of one tray.
    fn tray_moments(&self, chips: u32) -> (f64, f64) {
        let (n, p) = (f64::from(chips), self.mean());
        let weight = self.good + self.rejected;
        (n * p, n * p * (1.0 - p) * (weight + n) / (weight + 1.0))
    }
}

/// Probability that `trays` trays of `chips_per_tray` give at least `wanted` good chips.
///
/// The sum over trays is taken exactly, by its discrete Fourier transform, up to about 200,000 steps;
/// beyond them as normal with continuity correction, which by then differs by less than a tray.
///
/// # Errors
/// [`OutOfRange`] for no trays or chips, more than [`TRAYS_MAX`] or [`CHIPS_MAX`], or an impossible posterior.
///
/// ```
/// use heeltap::casting::sums::yields::{YieldPosterior, chance_of_good};
/// let posterior = YieldPosterior { good: 9.0, rejected: 1.0 };
/// // One chip a tray: each is good with 0.9, so both of two with 0.81.
/// assert!((chance_of_good(&posterior, 2, 1, 2).unwrap() - 0.81).abs() < 1e-12);
/// ```
pub fn chance_of_good(
    posterior: &YieldPosterior,
    trays: u32,
    chips_per_tray: u32,
    wanted: u32,
) -> Result<f64, OutOfRange> {
    posterior.check()?;
    at_least_one("trays", trays)?;
    at_least_one("chips", chips_per_tray)?;
    between("trays", f64::from(trays), 1.0, f64::from(TRAYS_MAX))?;
    between(
        "chips",
        f64::from(chips_per_tray),
        1.0,
        f64::from(CHIPS_MAX),
    )?;
    let most = u64::from(trays) * u64::from(chips_per_tray);
    if wanted == 0 {
        return Ok(1.0);
    }
    if u64::from(wanted) > most {
        return Ok(0.0);
    }
    if (most + 1) * u64::from(chips_per_tray + 16) > EXACT_STEPS_MAX {
        let (mean, variance) = posterior.tray_moments(chips_per_tray);
        let (mean, sd) = (
            mean * f64::from(trays),
            (variance * f64::from(trays)).sqrt(),
        );
        let z = (f64::from(wanted) - 0.5 - mean) / sd;
        return Ok(Normal::standard().sf(z));
    }
    let of_tray = posterior.tray_probabilities(chips_per_tray);
    Ok((1.0 - sum_below(&of_tray, trays, most, u64::from(wanted))).clamp(0.0, 1.0))
}

/// Probability that the sum of `trays` draws from `of_tray`, at most `most`, is below `wanted`.
///
/// With M = most + 1 frequencies, P(S < w) = 1/M sum_j phi_j^trays (1 - e^(-2 pi i j w/M)) / (1 - e^(-2 pi i j/M)), the
/// term j = 0 being w. Terms j and M - j are conjugates, so that half of them suffice.
fn sum_below(of_tray: &[f64], trays: u32, most: u64, wanted: u64) -> f64 {
    let size = most + 1;
    let turn = std::f64::consts::TAU / size as f64;
    let mut sum = wanted as f64;
    for j in 1..=size / 2 {
        let angle = turn * j as f64;
        let phi = power(transform(of_tray, angle), trays);
        // The angle of the numerator is reduced in whole numbers, where it loses no digits.
        let far = turn * ((j * wanted) % size) as f64;
        let above = (1.0 - far.cos(), far.sin());
        let below = (1.0 - angle.cos(), angle.sin());
        let term = times(phi, over(above, below)).0;
        sum += if 2 * j == size { term } else { 2.0 * term };
    }
    sum / size as f64
}

/// sum_k p_k e^(i k angle), by Horner's rule.
fn transform(of_tray: &[f64], angle: f64) -> (f64, f64) {
    let step = (angle.cos(), angle.sin());
    of_tray.iter().rev().fold((0.0, 0.0), |sum, &probability| {
        let (re, im) = times(sum, step);
        (re + probability, im)
    })
}

fn times(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

fn over(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    let norm = b.0 * b.0 + b.1 * b.1;
    (
        (a.0 * b.0 + a.1 * b.1) / norm,
        (a.1 * b.0 - a.0 * b.1) / norm,
    )
}

fn power(mut base: (f64, f64), mut exponent: u32) -> (f64, f64) {
    let mut result = (1.0, 0.0);
    while exponent > 0 {
        if exponent & 1 == 1 {
            result = times(result, base);
        }
        base = times(base, base);
        exponent >>= 1;
    }
    result
}

/// The smallest number of trays that gives at least `wanted` good chips with `probability` (0 to 1, both excluded).
///
/// # Errors
/// [`YieldError::TooMany`] when [`TRAYS_MAX`] trays are not enough, [`YieldError::OutOfRange`].
///
/// ```
/// use heeltap::casting::sums::yields::{DEFAULT_PROBABILITY, YieldPosterior, trays_for};
/// let posterior = YieldPosterior { good: 9.0, rejected: 1.0 };
/// // One chip a tray: P(Bin(13, 0.9) >= 10) = 0.966 while 12 trays give only 0.889.
/// assert_eq!(trays_for(&posterior, 10, 1, DEFAULT_PROBABILITY).unwrap().trays, 13);
/// ```
pub fn trays_for(
    posterior: &YieldPosterior,
    wanted: u32,
    chips_per_tray: u32,
    probability: f64,
) -> Result<TraysNeeded, YieldError> {
    at_least_one("good_chips_wanted", wanted)?;
    at_least_one("chips", chips_per_tray)?;
    if !(probability > 0.0 && probability < 1.0) {
        return Err(YieldError::OutOfRange(OutOfRange {
            parameter: "probability",
            value: probability,
            bound: "between 0 and 1, both excluded".to_owned(),
        }));
    }
    let too_many = YieldError::TooMany {
        wanted,
        chips_per_tray,
        probability,
    };
    let chance = |trays| chance_of_good(posterior, trays, chips_per_tray, wanted);
    let enough = |chance: f64| chance >= probability - 1e-12;
    let fewest = wanted.div_ceil(chips_per_tray);
    if fewest > TRAYS_MAX {
        return Err(too_many);
    }
    // The chance grows with every tray, so the search doubles its stride and then halves the gap.
    let (mut low, mut high, mut stride) = (fewest - 1, fewest, 1);
    while !enough(chance(high)?) {
        if high == TRAYS_MAX {
            return Err(too_many);
        }
        low = high;
        high = (high + stride).min(TRAYS_MAX);
        stride *= 2;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(chance(middle)?) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(TraysNeeded {
        trays: high,
        probability: chance(high)?,
        expected_good: posterior.expected_good(high, chips_per_tray),
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The sum over trays by plain convolution, against which the transform is checked.
    fn chance_by_convolution(
        posterior: &YieldPosterior,
        trays: u32,
        chips: u32,
        wanted: u32,
    ) -> f64 {
        let of_tray = posterior.tray_probabilities(chips);
        let mut sums = vec![1.0];
        for _ in 0..trays {
            let mut next = vec![0.0; sums.len() + of_tray.len() - 1];
            for (i, x) in sums.iter().enumerate() {
                for (k, y) in of_tray.iter().enumerate() {
                    next[i + k] += x * y;
                }
            }
            sums = next;
        }
        sums.iter().skip(wanted as usize).sum()
    }

    /// Input: good and rejected, wanted, chips per tray. Expected: trays, or the message.
    #[track_caller]
    fn check(input: (f64, f64, u32, u32), expected: &str) {
        let posterior = YieldPosterior {
            good: input.0,
            rejected: input.1,
        };
        let shown = match trays_for(&posterior, input.2, input.3, DEFAULT_PROBABILITY) {
            Ok(needed) => needed.trays.to_string(),
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn proposes_the_smallest_number_of_trays() {
        check((9.0, 1.0, 1, 1), "1");
        check((9.0, 1.0, 10, 1), "13");
        // A tray of four drawn from Beta(9, 1) is whole with 0.6923 and gives three or more with 0.9091.
        check((9.0, 1.0, 3, 4), "1");
        check((9.0, 1.0, 4, 4), "2");
        check(
            (900.0, 100.0, 20_001, 1),
            "good_chips_wanted is 20001, but 10000 trays of 1 chips do not give that many with probability 0.9",
        );
        check(
            (0.0, 1.0, 1, 1),
            "yield good is 0, but must be greater than 0",
        );
        check(
            (9.0, 1.0, 0, 1),
            "good_chips_wanted is 0, but must be 1 or more",
        );
    }

    #[test]
    fn one_tray_by_hand() {
        // Beta-binomial of 4 chips with Beta(9, 1): P(4) = 9/13, P(3) = 4 B(12, 2)/B(9, 1) = 4 x 9/(12 x 13).
        let of_tray = YieldPosterior {
            good: 9.0,
            rejected: 1.0,
        }
        .tray_probabilities(4);
        assert!((of_tray[4] - 9.0 / 13.0).abs() < 1e-12);
        assert!((of_tray[3] - 36.0 / 156.0).abs() < 1e-12);
    }

    #[test]
    fn the_normal_approximation_takes_over_smoothly() {
        let posterior = YieldPosterior {
            good: 90.0,
            rejected: 10.0,
        };
        // About a thousand trays of eight chips: the largest cast that is still summed exactly.
        let exact = trays_for(&posterior, 7_200, 8, 0.9).unwrap();
        let (mean, variance) = posterior.tray_moments(8);
        let trays = f64::from(exact.trays);
        let z = (7_200.0 - 0.5 - mean * trays) / (variance * trays).sqrt();
        assert!(
            (Normal::standard().sf(z) - exact.probability).abs() < 0.002,
            "{exact:?}"
        );
    }

    #[test]
    fn a_lab_without_rejects_is_not_certain() {
        let lab = ChipCount {
            good: 99,
            rejected: 0,
        };
        let posterior = YieldPosterior::from_history(ChipCount::default(), lab);
        assert!((posterior.good + posterior.rejected - 10.0).abs() < 1e-12);
        assert!(posterior.mean() < 1.0 && posterior.mean() > 0.99);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn the_transform_agrees_with_convolution(
            good in 0.5..50.0f64, rejected in 0.1..20.0f64, trays in 1u32..12, chips in 1u32..9, part in 0.0..1.2f64,
        ) {
            let posterior = YieldPosterior { good, rejected };
            let wanted = (f64::from(trays * chips) * part) as u32;
            let chance = chance_of_good(&posterior, trays, chips, wanted).unwrap();
            prop_assert!((chance - chance_by_convolution(&posterior, trays, chips, wanted)).abs() < 1e-10);
        }

        #[test]
        fn one_tray_fewer_would_not_do(good in 1.0..50.0f64, rejected in 0.1..20.0f64, wanted in 1u32..60, chips in 1u32..9) {
            let posterior = YieldPosterior { good, rejected };
            let needed = trays_for(&posterior, wanted, chips, 0.9).unwrap();
            prop_assert!(needed.probability >= 0.9 - 1e-12);
            if needed.trays > 1 {
                prop_assert!(chance_of_good(&posterior, needed.trays - 1, chips, wanted).unwrap() < 0.9);
            }
        }
    }
}
