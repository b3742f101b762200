//! What weighed cups teach about the factor between the draining film and the residue.
//!
//! Model: weighed = k x film + noise, k ~ N(1, 0.5^2) before any weighing, noise normal with standard
//! deviation c x film (plus an additive part where the balance matters). Source: conjugate normal update with
//! known variance (Gelman et al., Bayesian Data Analysis, 3rd ed., sec. 2.5, from memory). Invariants: a
//! weighing never widens the posterior; one outlier counts with an inflated variance and is flagged; what
//! cannot be (negative, larger than the mix) is refused before it gets here, by [`check_weighing`]. Absent:
//! where posteriors are kept.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use super::bounds::{OutOfRange, non_negative, positive};

/// Mean of the factor before any weighing: the film as physics gives it.
pub const PRIOR_MEAN: f64 = 1.0;

/// Standard deviation of the factor before any weighing. Assumption.
pub const PRIOR_SD: f64 = 0.5;

/// Relative standard deviation of one weighing about k x film. Assumption, settable.
pub const RELATIVE_NOISE_SD: f64 = 0.15;

/// Distance in predictive standard deviations beyond which a weighing is an outlier.
pub const OUTLIER_Z: f64 = 3.5;

/// Scatter of a weighing about k x film: sqrt((relative_sd x film)^2 + additive_sd_g^2).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Part that grows with the film.
    pub relative_sd: f64,
    /// Part that does not, in grams.
    pub additive_sd_g: f64,
}

impl Default for Noise {
    fn default() -> Self {
        Self {
            relative_sd: RELATIVE_NOISE_SD,
            additive_sd_g: 0.0,
        }
    }
}

impl Noise {
    fn variance_g2(&self, film_g: f64) -> f64 {
        (self.relative_sd * film_g).powi(2) + self.additive_sd_g.powi(2)
    }
}

/// What is known of a factor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FactorPosterior {
    /// Mean of the factor.
    pub mean: f64,
    /// Standard deviation of the factor.
    pub sd: f64,
    /// Weighings it rests on.
    pub observations: u32,
}

/// One weighing learned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Learned {
    /// What is known afterwards.
    pub posterior: FactorPosterior,
    /// Distance of the weighing from its prediction in predictive standard deviations.
    pub z: f64,
    /// Whether it counted as an outlier.
    pub outlier: bool,
}

/// The residue a set of cups will leave.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Prediction {
    /// Mean of the sum over the cups, never below 0.
    pub expected_g: f64,
    /// Standard deviation of the sum.
    pub sd_g: f64,
    /// Quantile of the sum, never below 0.
    pub planned_g: f64,
    /// The quantile's probability.
    pub quantile: f64,
    /// `planned_g` over the sum of the films; a cup's share of it is this factor x its own film.
    pub effective_factor: f64,
}

impl FactorPosterior {
    /// What is known before any weighing: N([`PRIOR_MEAN`], [`PRIOR_SD`]^2).
    ///
    /// ```
    /// use heeltap::casting::sums::learned::FactorPosterior;
    /// assert_eq!(FactorPosterior::prior().mean, 1.0);
    /// ```
    #[must_use]
    pub fn prior() -> Self {
        Self {
            mean: PRIOR_MEAN,
            sd: PRIOR_SD,
            observations: 0,
        }
    }

    /// Learns one weighing: `film_g` as physics gives it, `weighed_g` as weighed (less the stirrer's loss if
    /// the weighing holds it).
    ///
    /// precision = 1/s^2 + film^2/v, mean = (mean/s^2 + film x weighed/v) / precision. When |z| exceeds
    /// [`OUTLIER_Z`], v is inflated by (z / 3.5)^2: the weighing pulls less the wilder it is.
    ///
    /// # Errors
    /// [`OutOfRange`] for a film of 0 or less, a negative weighing, or noise that is not positive.
    ///
    /// ```
    /// use heeltap::casting::sums::learned::{FactorPosterior, Noise};
    /// let learned = FactorPosterior::prior().learn(10.0, 16.0, &Noise::default()).unwrap();
    /// assert!((learned.posterior.mean - 1.550_458_715_596_330_3).abs() < 1e-12);
    /// assert!(!learned.outlier);
    /// ```
    pub fn learn(&self, film_g: f64, weighed_g: f64, noise: &Noise) -> Result<Learned, OutOfRange> {
        positive("film_g", film_g)?;
        non_negative("weighed_g", weighed_g)?;
        positive("sd", self.sd)?;
        non_negative("relative_sd", noise.relative_sd)?;
        non_negative("additive_sd_g", noise.additive_sd_g)?;
        let mut variance_g2 = positive("noise variance_g2", noise.variance_g2(film_g))?;
        let spread_g = ((film_g * self.sd).powi(2) + variance_g2).sqrt();
        let z = (weighed_g - self.mean * film_g) / spread_g;
        let outlier = z.abs() > OUTLIER_Z;
        if outlier {
            variance_g2 *= (z / OUTLIER_Z).powi(2);
        }
        let prior_precision = self.sd.powi(-2);
        let precision = prior_precision + film_g * film_g / variance_g2;
        let mean = (self.mean * prior_precision + film_g * weighed_g / variance_g2) / precision;
        Ok(Learned {
            posterior: Self {
                mean,
                sd: precision.sqrt().recip(),
                observations: self.observations.saturating_add(1),
            },
            z,
            outlier,
        })
    }

    /// Predicts the sum of the residues of cups whose films are `films_g`.
    ///
    /// Mean k sum x; variance (sum x)^2 s_k^2 + c^2 sum x^2 (+ n b^2): the factor is common to all cups,
    /// the noise is not. `quantile` is strictly between 0 and 1.
    ///
    /// # Errors
    /// [`OutOfRange`] for a negative film or a quantile outside 0 to 1.
    ///
    /// ```
    /// use heeltap::casting::sums::learned::{FactorPosterior, Noise};
    /// let prediction = FactorPosterior::prior().predict(&[3.0, 3.0], 0.9, &Noise::default()).unwrap();
    /// assert_eq!(prediction.expected_g, 6.0);
    /// assert!(prediction.planned_g > 9.0 && prediction.planned_g < 10.5);
    /// ```
    pub fn predict(
        &self,
        films_g: &[f64],
        quantile: f64,
        noise: &Noise,
    ) -> Result<Prediction, OutOfRange> {
        non_negative("sd", self.sd)?;
        non_negative("relative_sd", noise.relative_sd)?;
        non_negative("additive_sd_g", noise.additive_sd_g)?;
        let z = normal_quantile(quantile)?;
        let mut sum_g = 0.0;
        let mut noise_g2 = 0.0;
        for &film_g in films_g {
            sum_g += non_negative("film_g", film_g)?;
            noise_g2 += noise.variance_g2(film_g);
        }
        let mean_g = self.mean * sum_g;
        let sd_g = ((sum_g * self.sd).powi(2) + noise_g2).sqrt();
        let planned_g = (mean_g + z * sd_g).max(0.0);
        Ok(Prediction {
            expected_g: mean_g.max(0.0),
            sd_g,
            planned_g,
            quantile,
            effective_factor: if sum_g > 0.0 { planned_g / sum_g } else { 0.0 },
        })
    }
}

/// Quantile of the standard normal distribution at a probability strictly between 0 and 1.
fn normal_quantile(quantile: f64) -> Result<f64, OutOfRange> {
    if !(quantile > 0.0 && quantile < 1.0) {
        return Err(OutOfRange {
            parameter: "quantile",
            value: quantile,
            bound: "between 0 and 1, both excluded".to_owned(),
        });
    }
    Ok(Normal::standard().inverse_cdf(quantile))
}

/// Why a weighing of a cup is refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WeighingError {
    /// A parameter is impossible; a negative weighing is one.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// More is said to be left than was mixed.
    #[error("residue_g is {weighed_g}, but only {mixed_g} g were mixed in this cup")]
    MoreThanMixed {
        /// The weighing.
        weighed_g: f64,
        /// What was mixed.
        mixed_g: f64,
    },
}

/// Checks a weighed residue against what was mixed and takes off what stirrer and lid hold of it.
///
/// `stirrer_loss_g` is what the weighing holds beside the film (0 if the stirrer was not weighed with the
/// cup). The result, never below 0, is what [`FactorPosterior::learn`] takes.
///
/// # Errors
/// [`WeighingError`] for a negative weighing or one above `mixed_g`.
///
/// ```
/// use heeltap::casting::sums::learned::check_weighing;
/// assert_eq!(check_weighing(4.5, 60.0, 0.5), Ok(4.0));
/// assert!(check_weighing(61.0, 60.0, 0.5).is_err());
/// assert!(check_weighing(-0.1, 60.0, 0.0).is_err());
/// ```
pub fn check_weighing(
    weighed_g: f64,
    mixed_g: f64,
    stirrer_loss_g: f64,
) -> Result<f64, WeighingError> {
    positive("mixed_g", mixed_g)?;
    non_negative("residue_g", weighed_g)?;
    non_negative("stirrer_loss_g", stirrer_loss_g)?;
    if weighed_g > mixed_g {
        return Err(WeighingError::MoreThanMixed { weighed_g, mixed_g });
    }
    Ok((weighed_g - stirrer_loss_g).max(0.0))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn after(weighings: &[(f64, f64)]) -> (FactorPosterior, u32) {
        let mut posterior = FactorPosterior::prior();
        let mut outliers = 0;
        for &(film_g, weighed_g) in weighings {
            let learned = posterior
                .learn(film_g, weighed_g, &Noise::default())
                .unwrap();
            posterior = learned.posterior;
            outliers += u32::from(learned.outlier);
        }
        (posterior, outliers)
    }

    /// Input: weighings. Expected: mean to two digits and the number of outliers.
    #[track_caller]
    fn check(input: &[(f64, f64)], expected: &str) {
        let (posterior, outliers) = after(input);
        assert_eq!(
            format!(
                "{:.2} {} {outliers}",
                posterior.mean, posterior.observations
            ),
            expected
        );
    }

    #[test]
    fn learns_the_ratio_and_flags_the_outlier() {
        check(&[], "1.00 0 0");
        check(&[(4.0, 6.0), (5.0, 7.5), (4.0, 6.0)], "1.49 3 0");
        let steady = [(4.0, 6.0); 6];
        check(&steady, "1.49 6 0");
        let mut wild = steady.to_vec();
        wild.push((4.0, 40.0));
        check(&wild, "1.50 7 1");
    }

    #[test]
    fn without_films_nothing_is_planned() {
        let prediction = FactorPosterior::prior()
            .predict(&[], 0.9, &Noise::default())
            .unwrap();
        assert_eq!(prediction.planned_g, 0.0);
        let low = FactorPosterior::prior()
            .predict(&[4.0], 0.001, &Noise::default())
            .unwrap();
        assert_eq!(low.planned_g, 0.0);
        let error = FactorPosterior::prior().predict(&[4.0], 1.0, &Noise::default());
        assert_eq!(error.unwrap_err().parameter, "quantile");
    }

    #[test]
    fn the_common_factor_does_not_average_out_but_the_noise_does() {
        let posterior = after(&[(4.0, 4.0); 10]).0;
        let one = posterior.predict(&[8.0], 0.9, &Noise::default()).unwrap();
        let two = posterior
            .predict(&[4.0, 4.0], 0.9, &Noise::default())
            .unwrap();
        assert!(two.planned_g < one.planned_g);
        let by_hand = ((8.0 * posterior.sd).powi(2) + 0.15f64.powi(2) * 32.0).sqrt();
        assert!((two.sd_g - by_hand).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn learning_narrows_and_moves_towards_the_weighing(film in 0.1..50.0f64, ratio in 0.0..20.0f64) {
            let prior = FactorPosterior::prior();
            let learned = prior.learn(film, film * ratio, &Noise::default()).unwrap();
            prop_assert!(learned.posterior.sd < prior.sd);
            let (low, high) = if ratio < 1.0 { (ratio, 1.0) } else { (1.0, ratio) };
            prop_assert!(learned.posterior.mean >= low - 1e-12 && learned.posterior.mean <= high + 1e-12);
        }
    }
}
