//! How well the cost of one good chip is known: a planning interval around cost over good chips.
//!
//! Invariants: below [`CASTS_MIN`] casts, or without a good chip, there is no interval; it is never below zero. It is a
//! statement for planning, from the spread between casts, and never stands on a charge. Deliberately absent: money that
//! is owed (exact, in `tally.rs`).

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, StudentsT};
use utoipa::ToSchema;

use crate::base::{Error, Micro, Money};

/// The fewest casts from which an interval is given: an assumption, below it the spread says little.
pub const CASTS_MIN: usize = 5;

/// The confidence level, in millionths: 0.95, common practice.
const LEVEL: Micro = Micro::from_micro(950_000);

/// The cumulative probability up to the upper end: half of what lies outside stays above it.
const UPPER: f64 = 0.975;

/// The normal distribution's quantile at [`UPPER`].
const NORMAL_UPPER: f64 = 1.959_963_984_540_054;

/// Degrees of freedom from which Student's quantile is taken from its expansion.
const ASYMPTOTIC_FROM: f64 = 100.0;

/// One cast: what it cost, in the base currency, and its good chips. Both are the payer's part where a payer is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostAndChips {
    /// Cost, in the base currency.
    pub cost: f64,
    /// Good chips, 0 or more.
    pub good_chips: f64,
}

/// A planning interval for the cost of one good chip.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PlanningInterval {
    /// Its lower end, never below zero.
    pub low: Money,
    /// Its upper end.
    pub high: Money,
    /// The confidence level, 0 to 1.
    pub level: Micro,
    /// The casts behind it, scrapped ones included.
    pub casts: usize,
    /// The standard error of the cost per good chip.
    pub standard_error: Money,
}

/// The ratio estimate of cost per good chip with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RatioEstimate {
    /// `R = sum C / sum G`.
    pub ratio: f64,
    /// `se = sqrt(n / (n - 1) sum (C - R G)^2) / sum G`.
    pub standard_error: f64,
}

/// The ratio of summed cost to summed good chips, and its standard error from the casts' residuals.
///
/// None with fewer than two casts or without a good chip. Source: Cochran, *Sampling Techniques*, ratio estimator,
/// without the correction for a finite population (from memory).
///
/// ```
/// use heeltap::costing::replica_cost::interval::{CostAndChips, ratio_estimate};
/// let casts = [(10.0, 4.0), (12.0, 4.0)].map(|(cost, good_chips)| CostAndChips { cost, good_chips });
/// let estimate = ratio_estimate(&casts).ok_or("two casts")?;
/// // R = 22/8; both residuals are 1 away; se = sqrt(2/1 * 2) / 8.
/// assert_eq!((estimate.ratio, estimate.standard_error), (2.75, 0.25));
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn ratio_estimate(casts: &[CostAndChips]) -> Option<RatioEstimate> {
    let n = casts.len() as f64;
    let good: f64 = casts.iter().map(|cast| cast.good_chips).sum();
    if casts.len() < 2 || good <= 0.0 {
        return None;
    }
    let ratio = casts.iter().map(|cast| cast.cost).sum::<f64>() / good;
    // In two passes, so that no small difference of large sums is taken.
    let squares: f64 = casts
        .iter()
        .map(|cast| (cast.cost - ratio * cast.good_chips).powi(2))
        .sum();
    Some(RatioEstimate {
        ratio,
        standard_error: (n / (n - 1.0) * squares).sqrt() / good,
    })
}

/// The planning interval: the ratio estimate and Student's t with `n - 1` degrees of freedom to both sides, at 95 %.
///
/// None below [`CASTS_MIN`] casts or without a good chip. Ends and standard error are rounded to the millionth once.
///
/// # Errors
/// [`Error::Invalid`] when an end leaves the range of money.
///
/// ```
/// use heeltap::costing::replica_cost::interval::{CostAndChips, planning_interval};
/// let one = CostAndChips { cost: 10.0, good_chips: 4.0 };
/// assert_eq!(planning_interval(&[one; 4])?, None);
/// let alike = planning_interval(&[one; 5])?.ok_or(heeltap::base::Error::internal("five casts"))?;
/// assert_eq!((alike.low.to_string(), alike.high.to_string()), ("2.5".into(), "2.5".into()));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn planning_interval(casts: &[CostAndChips]) -> Result<Option<PlanningInterval>, Error> {
    if casts.len() < CASTS_MIN {
        return Ok(None);
    }
    let Some(estimate) = ratio_estimate(casts) else {
        return Ok(None);
    };
    let freedom = casts.len() as f64 - 1.0;
    let reach = student_quantile(freedom)? * estimate.standard_error;
    Ok(Some(PlanningInterval {
        low: Money::from_f64_half_even((estimate.ratio - reach).max(0.0))?,
        high: Money::from_f64_half_even(estimate.ratio + reach)?,
        level: LEVEL,
        casts: casts.len(),
        standard_error: Money::from_f64_half_even(estimate.standard_error)?,
    }))
}

/// The 0.975 quantile of Student's t, for 1 or more degrees of freedom.
///
/// The library's inverse loses digits as the degrees of freedom grow; from [`ASYMPTOTIC_FROM`] on, the expansion around
/// the normal quantile is exact to 1e-10. Source: Abramowitz and Stegun, *Handbook of Mathematical Functions*, 26.7.5
/// (from memory; held against values computed elsewhere in the tests).
fn student_quantile(freedom: f64) -> Result<f64, Error> {
    if freedom < ASYMPTOTIC_FROM {
        let student = StudentsT::new(0.0, 1.0, freedom).map_err(Error::internal)?;
        return Ok(student.inverse_cdf(UPPER));
    }
    let x = NORMAL_UPPER;
    let terms = [
        (x.powi(3) + x) / 4.0,
        (5.0 * x.powi(5) + 16.0 * x.powi(3) + 3.0 * x) / 96.0,
        (3.0 * x.powi(7) + 19.0 * x.powi(5) + 17.0 * x.powi(3) - 15.0 * x) / 384.0,
        (79.0 * x.powi(9) + 776.0 * x.powi(7) + 1482.0 * x.powi(5)
            - 1920.0 * x.powi(3)
            - 945.0 * x)
            / 92_160.0,
    ];
    let sum = terms
        .iter()
        .rev()
        .fold(0.0, |sum, term| (sum + term) / freedom);
    Ok(x + sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn casts(costs: &[f64], good_chips: &[f64]) -> Vec<CostAndChips> {
        costs
            .iter()
            .zip(good_chips)
            .map(|(&cost, &good_chips)| CostAndChips { cost, good_chips })
            .collect()
    }

    /// Expected values computed with NumPy and SciPy 1.17.1 (`scipy.stats.t.ppf`) from the formulas above.
    #[track_caller]
    fn check(costs: &[f64], good: &[f64], (se, low, high): (f64, f64, f64)) {
        let casts = casts(costs, good);
        let estimate = ratio_estimate(&casts).unwrap();
        assert!(
            (estimate.standard_error - se).abs() < 1e-12,
            "{}",
            estimate.standard_error
        );
        let interval = planning_interval(&casts).unwrap().unwrap();
        assert_eq!(interval.low, Money::from_f64_half_even(low).unwrap());
        assert_eq!(interval.high, Money::from_f64_half_even(high).unwrap());
        assert_eq!(interval.casts, costs.len());
    }

    #[test]
    fn against_values_computed_elsewhere() {
        check(
            &[31.2, 29.8, 33.1, 30.4, 35.0],
            &[18.0, 17.0, 20.0, 16.0, 19.0],
            (0.04309873272010386, 1.6525609567212618, 1.8918834877231825),
        );
        // A scrapped cast: its cost counts, its chips are none.
        check(
            &[31.2, 29.8, 33.1, 30.4, 35.0, 28.75],
            &[18.0, 17.0, 20.0, 0.0, 19.0, 12.0],
            (0.44308188157177764, 1.0499752519041208, 3.3279317248400657),
        );
        check(
            &[10.0, 12.0, 9.0, 40.0, 11.0, 10.0, 13.0],
            &[1.0, 0.0, 0.0, 8.0, 1.0, 0.0, 2.0],
            (3.18473009641901, 0.9572461843742337, 16.542753815625765),
        );
    }

    #[test]
    fn the_lower_end_is_not_below_zero() {
        let wide = casts(&[1.0, 1.0, 1.0, 1.0, 90.0], &[5.0, 4.0, 6.0, 5.0, 0.0]);
        let estimate = ratio_estimate(&wide).unwrap();
        assert!(estimate.ratio - 2.77 * estimate.standard_error < 0.0);
        assert_eq!(planning_interval(&wide).unwrap().unwrap().low, Money::ZERO);
    }

    #[test]
    fn few_casts_or_no_good_chip_have_none() {
        assert_eq!(
            planning_interval(&casts(&[1.0; 4], &[1.0; 4])).unwrap(),
            None
        );
        assert_eq!(
            planning_interval(&casts(&[1.0; 9], &[0.0; 9])).unwrap(),
            None
        );
        assert_eq!(ratio_estimate(&casts(&[1.0], &[1.0])), None);
        assert_eq!(ratio_estimate(&[]), None);
    }

    #[test]
    fn student_quantiles_against_values_computed_elsewhere() {
        // SciPy 1.17.1, scipy.stats.t.ppf(0.975, n).
        for (freedom, expected) in [
            (4.0, 2.7764451051977934),
            (5.0, 2.5705818356363146),
            (7.0, 2.364624251592784),
            (10.0, 2.228138851986274),
            (20.0, 2.085963447265864),
            (30.0, 2.0422724563012378),
            (60.0, 2.0002978220142604),
            (99.0, 1.9842169515864174),
            (100.0, 1.9839715185235518),
            (250.0, 1.9694983934211532),
            (1000.0, 1.9623390808264083),
            (199999.0, 1.9599758460260759),
        ] {
            let found = student_quantile(freedom).unwrap();
            assert!((found - expected).abs() < 1e-9, "{freedom}: {found}");
        }
    }
}
