//! Cure time at another temperature, and what tray and mold bear.
//!
//! The elastomer's cure points lie on a straight line of ln(minutes) over 1/T (Arrhenius; textbook form, from
//! memory). It is advice: outside the points it is flagged, never refused; the recipe's cure rules. Common
//! practice, no source: about 85 C for 40 to 45 minutes in a plastic tray. Absent: heating-up time.

use serde::{Deserialize, Serialize};

use super::bounds::{OutOfRange, between, positive};

/// Usual cure in a plastic tray: temperature, fewest and most minutes. Common practice, no source.
pub const USUAL_CURE: (f64, f64, f64) = (85.0, 40.0, 45.0);

/// Distance below a temperature limit within which a warning is due, in kelvin.
pub const WARNING_MARGIN_K: f64 = 10.0;

/// Zero of the Celsius scale in kelvin.
const ZERO_CELSIUS_K: f64 = 273.15;

/// Molar gas constant in kJ/(mol K), exact since the SI of 2019.
const GAS_CONSTANT_KJ_PER_MOL_K: f64 = 8.314_462_618_153_24e-3;

/// A cure the maker of the elastomer states.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CurePoint {
    /// Temperature.
    pub temperature_c: f64,
    /// Time.
    pub minutes: f64,
}

/// The line through the cure points.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ArrheniusLine {
    /// ln(minutes) at 1/T = 0.
    pub intercept: f64,
    /// Rise of ln(minutes) with 1/T, in kelvin.
    pub slope_k: f64,
    /// Lowest temperature of the points.
    pub coolest_c: f64,
    /// Highest temperature of the points.
    pub hottest_c: f64,
    /// Largest distance of a point from the line, relative to its minutes.
    pub largest_misfit: f64,
}

/// Advice on the time at a temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CureAdvice {
    /// The temperature asked for.
    pub temperature_c: f64,
    /// Time on the line.
    pub minutes: f64,
    /// Whether the temperature lies outside the points.
    pub extrapolated: bool,
}

/// Why there is no line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum HeatError {
    /// A parameter is impossible.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// The points do not span a line.
    #[error("cure has points at {temperatures} temperature(s), but must have them at 2 or more")]
    TooFewPoints {
        /// Different temperatures among the points.
        temperatures: usize,
    },
    /// Heat would slow the cure.
    #[error("cure points say that it takes longer at {hottest_c} C than at {coolest_c} C")]
    NotFasterWhenHotter {
        /// Lowest temperature.
        coolest_c: f64,
        /// Highest temperature.
        hottest_c: f64,
    },
}

/// Lays the least-squares line of ln(minutes) over 1/T through the points; through two it is exact.
///
/// # Errors
/// [`HeatError::TooFewPoints`], [`HeatError::NotFasterWhenHotter`], [`HeatError::OutOfRange`] for times of 0 or
/// less or temperatures outside -50 to 400 C.
///
/// ```
/// use heeltap::casting::sums::heat::{CurePoint, arrhenius_line};
/// let points = [CurePoint { temperature_c: 25.0, minutes: 2880.0 }, CurePoint { temperature_c: 100.0, minutes: 35.0 }];
/// let line = arrhenius_line(&points).unwrap();
/// assert!((line.advise(100.0).unwrap().minutes - 35.0).abs() < 1e-9);
/// assert!(line.advise(120.0).unwrap().extrapolated);
/// ```
pub fn arrhenius_line(points: &[CurePoint]) -> Result<ArrheniusLine, HeatError> {
    let mut temperatures_c = Vec::with_capacity(points.len());
    for point in points {
        positive("cure minutes", point.minutes)?;
        temperatures_c.push(check_temperature(
            "cure temperature_c",
            point.temperature_c,
        )?);
    }
    temperatures_c.sort_by(f64::total_cmp);
    temperatures_c.dedup();
    let (Some(&coolest_c), Some(&hottest_c)) = (temperatures_c.first(), temperatures_c.last())
    else {
        return Err(HeatError::TooFewPoints { temperatures: 0 });
    };
    if temperatures_c.len() < 2 {
        return Err(HeatError::TooFewPoints {
            temperatures: temperatures_c.len(),
        });
    }
    let count = points.len() as f64;
    let xs: Vec<f64> = points.iter().map(|p| inverse_k(p.temperature_c)).collect();
    let ys: Vec<f64> = points.iter().map(|p| p.minutes.ln()).collect();
    let (mean_x, mean_y) = (
        xs.iter().sum::<f64>() / count,
        ys.iter().sum::<f64>() / count,
    );
    let square: f64 = xs.iter().map(|x| (x - mean_x).powi(2)).sum();
    let product: f64 = xs
        .iter()
        .zip(&ys)
        .map(|(x, y)| (x - mean_x) * (y - mean_y))
        .sum();
    let slope_k = product / square;
    if slope_k <= 0.0 {
        return Err(HeatError::NotFasterWhenHotter {
            coolest_c,
            hottest_c,
        });
    }
    let intercept = mean_y - slope_k * mean_x;
    let largest_misfit = xs
        .iter()
        .zip(&ys)
        .map(|(x, y)| (intercept + slope_k * x - y).exp_m1().abs())
        .fold(0.0, f64::max);
    Ok(ArrheniusLine {
        intercept,
        slope_k,
        coolest_c,
        hottest_c,
        largest_misfit,
    })
}

impl ArrheniusLine {
    /// Time on the line at `temperature_c` (-50 to 400 C), flagged outside the points.
    ///
    /// # Errors
    /// [`OutOfRange`] for a temperature outside that range.
    ///
    /// ```
    /// # use heeltap::casting::sums::heat::{CurePoint, arrhenius_line};
    /// # let points = [CurePoint { temperature_c: 60.0, minutes: 120.0 }, CurePoint { temperature_c: 80.0, minutes: 60.0 }];
    /// let advice = arrhenius_line(&points).unwrap().advise(70.0).unwrap();
    /// assert!(advice.minutes > 60.0 && advice.minutes < 120.0 && !advice.extrapolated);
    /// ```
    pub fn advise(&self, temperature_c: f64) -> Result<CureAdvice, OutOfRange> {
        check_temperature("temperature_c", temperature_c)?;
        Ok(CureAdvice {
            temperature_c,
            minutes: (self.intercept + self.slope_k * inverse_k(temperature_c)).exp(),
            extrapolated: temperature_c < self.coolest_c || temperature_c > self.hottest_c,
        })
    }

    /// Activation energy the slope stands for, in kJ/mol.
    ///
    /// ```
    /// # use heeltap::casting::sums::heat::{CurePoint, arrhenius_line};
    /// # let points = [CurePoint { temperature_c: 60.0, minutes: 120.0 }, CurePoint { temperature_c: 80.0, minutes: 60.0 }];
    /// let energy = arrhenius_line(&points).unwrap().activation_energy_kj_per_mol();
    /// assert!(energy > 30.0 && energy < 40.0);
    /// ```
    #[must_use]
    pub fn activation_energy_kj_per_mol(&self) -> f64 {
        self.slope_k * GAS_CONSTANT_KJ_PER_MOL_K
    }
}

/// How a cure temperature stands to what a tray or mold bears.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeatVerdict {
    /// More than 10 K below the limit.
    Safe,
    /// At the limit or within 10 K below it: warn.
    Close,
    /// Above the limit: refuse unless a reason is given.
    Above,
}

/// A temperature against a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeatCheck {
    /// The verdict.
    pub verdict: HeatVerdict,
    /// Limit less temperature; negative above the limit.
    pub margin_k: f64,
}

/// Checks a cure temperature against the highest a tray or mold bears.
///
/// # Errors
/// [`OutOfRange`] for temperatures outside -50 to 400 C.
///
/// ```
/// use heeltap::casting::sums::heat::{HeatVerdict, check_limit};
/// assert_eq!(check_limit(85.0, 107.0).unwrap().verdict, HeatVerdict::Safe);
/// assert_eq!(check_limit(85.0, 90.0).unwrap().verdict, HeatVerdict::Close);
/// assert_eq!(check_limit(85.0, 68.0).unwrap().verdict, HeatVerdict::Above);
/// ```
pub fn check_limit(temperature_c: f64, max_temperature_c: f64) -> Result<HeatCheck, OutOfRange> {
    check_temperature("temperature_c", temperature_c)?;
    check_temperature("max_temperature_c", max_temperature_c)?;
    let margin_k = max_temperature_c - temperature_c;
    let verdict = if margin_k < 0.0 {
        HeatVerdict::Above
    } else if margin_k <= WARNING_MARGIN_K {
        HeatVerdict::Close
    } else {
        HeatVerdict::Safe
    };
    Ok(HeatCheck { verdict, margin_k })
}

fn check_temperature(parameter: &'static str, value_c: f64) -> Result<f64, OutOfRange> {
    between(parameter, value_c, -50.0, 400.0)
}

fn inverse_k(temperature_c: f64) -> f64 {
    (temperature_c + ZERO_CELSIUS_K).recip()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn points(pairs: &[(f64, f64)]) -> Vec<CurePoint> {
        pairs
            .iter()
            .map(|&(temperature_c, minutes)| CurePoint {
                temperature_c,
                minutes,
            })
            .collect()
    }

    /// Input: points and temperature. Expected: minutes and whether outside the points, or the message.
    #[track_caller]
    fn check(input: (&[(f64, f64)], f64), expected: &str) {
        let shown = match arrhenius_line(&points(input.0)) {
            Ok(line) => {
                let advice = line.advise(input.1).unwrap();
                format!("{:.2} {}", advice.minutes, advice.extrapolated)
            }
            Err(error) => error.to_string(),
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn advises_on_and_beyond_the_points() {
        let two = [(25.0, 2880.0), (100.0, 35.0)];
        check((&two, 25.0), "2880.00 false");
        check((&two, 100.0), "35.00 false");
        // By hand: slope ln(2880/35) / (1/298.15 - 1/373.15) = 6542.1 K, at 85 C 35 exp(0.7343) min.
        check((&two, 85.0), "72.94 false");
        check((&two, 20.0), "4187.23 true");
        check(
            (&[(80.0, 60.0)], 85.0),
            "cure has points at 1 temperature(s), but must have them at 2 or more",
        );
        check(
            (&[(60.0, 60.0), (80.0, 60.0)], 85.0),
            "cure points say that it takes longer at 80 C than at 60 C",
        );
        check(
            (&[(60.0, 0.0), (80.0, 60.0)], 85.0),
            "cure minutes is 0, but must be greater than 0",
        );
    }

    #[test]
    fn limits_are_inclusive() {
        assert_eq!(
            check_limit(90.0, 100.0).unwrap().verdict,
            HeatVerdict::Close
        );
        assert_eq!(check_limit(89.9, 100.0).unwrap().verdict, HeatVerdict::Safe);
        assert_eq!(
            check_limit(100.0, 100.0).unwrap().verdict,
            HeatVerdict::Close
        );
        assert_eq!(
            check_limit(100.1, 100.0).unwrap().verdict,
            HeatVerdict::Above
        );
        assert!(check_limit(f64::NAN, 100.0).is_err());
    }

    proptest! {
        #[test]
        fn hotter_is_faster_and_exact_points_are_met(
            cool in 15.0..60.0f64, warmer in 5.0..80.0f64, minutes in 10.0..3000.0f64, faster in 0.05..0.95f64,
        ) {
            let hot = cool + warmer;
            let middle = cool + warmer / 2.0;
            let line = arrhenius_line(&points(&[(cool, minutes), (hot, minutes * faster)])).unwrap();
            prop_assert!((line.advise(cool).unwrap().minutes / minutes - 1.0).abs() < 1e-9);
            prop_assert!(line.largest_misfit < 1e-9);
            prop_assert!(line.advise(middle).unwrap().minutes < line.advise(cool).unwrap().minutes);
            prop_assert!(line.advise(hot).unwrap().minutes < line.advise(middle).unwrap().minutes);
        }
    }
}
