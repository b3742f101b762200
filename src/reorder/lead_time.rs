//! How long an order takes, and what that uncertainty does to the demand until it arrives.
//!
//! Invariants: the mean is at least 0 and the standard deviation finite; the distribution over whole days has
//! the same total weight whatever the figures, and a longer mean at the same ratio of sd to mean never makes an
//! early arrival
//! more likely. Absent: reading orders; calendars of suppliers.

use statrs::distribution::{ContinuousCDF, Gamma};

use super::service::{OutOfRange, non_negative};

/// Fewest past orders whose lead times are believed.
pub const ORDERS_MIN: usize = 5;
/// Standard deviation over mean of a lead time known from the catalogue only (assumption).
pub const CATALOGUE_CV: f64 = 0.3;
/// Lead time when neither orders nor catalogue tell, in days (assumption).
pub const LEAD_TIME_DAYS_ASSUMED: f64 = 14.0;
/// Longest lead time of the distribution over whole days, in days.
pub const LEAD_TIME_DAYS_MAX: f64 = 730.0;
/// Sum of the weights of [`LeadTime::by_day`].
pub const WEIGHT_TOTAL: u64 = 1_000_000;

/// Where a lead time comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LeadTimeBasis {
    /// From past orders of this material at this supplier.
    PastOrders,
    /// From the catalogue, with the assumed coefficient of variation.
    Catalogue,
    /// From fewer than five past orders, with the assumed coefficient of variation.
    FewOrders,
    /// Assumed altogether.
    Assumed,
}

/// The lead time of a material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadTime {
    /// Mean, in days.
    pub mean_days: f64,
    /// Standard deviation, in days.
    pub sd_days: f64,
    /// Number of past orders seen, believed or not.
    pub orders: usize,
    /// Where the figures come from.
    pub basis: LeadTimeBasis,
}

/// The lead time from `past_days` (days from order to receipt of past orders) or the catalogue's `catalogue_days`.
///
/// At least five past orders: their mean and sample standard deviation. Else the catalogue's, else the mean of
/// the few orders, else 14 days (assumption), each with a coefficient of variation of 0.3 (assumption). A mean above
/// 730
/// days is held there.
///
/// # Errors
/// [`OutOfRange`] for a catalogue lead time that is negative or not a number.
///
/// ```
/// use heeltap::reorder::lead_time::{LeadTimeBasis, lead_time};
/// let known = lead_time(&[10, 12, 14, 16, 18], Some(7.0)).unwrap();
/// assert_eq!((known.mean_days, known.basis), (14.0, LeadTimeBasis::PastOrders));
/// assert!((known.sd_days - 10.0_f64.sqrt()).abs() < 1e-12);
/// assert_eq!(lead_time(&[10], Some(7.0)).unwrap().mean_days, 7.0);
/// ```
pub fn lead_time(past_days: &[u32], catalogue_days: Option<f64>) -> Result<LeadTime, OutOfRange> {
    let orders = past_days.len();
    let catalogue = catalogue_days
        .map(|days| non_negative("lead_time_days", days))
        .transpose()?;
    let mean = past_days.iter().map(|&days| f64::from(days)).sum::<f64>() / orders as f64;
    if orders >= ORDERS_MIN {
        let squares: f64 = past_days
            .iter()
            .map(|&days| (f64::from(days) - mean).powi(2))
            .sum();
        return Ok(LeadTime {
            mean_days: mean.min(LEAD_TIME_DAYS_MAX),
            sd_days: (squares / (orders - 1) as f64)
                .sqrt()
                .min(LEAD_TIME_DAYS_MAX),
            orders,
            basis: LeadTimeBasis::PastOrders,
        });
    }
    let (mean_days, basis) = match catalogue {
        Some(days) => (days, LeadTimeBasis::Catalogue),
        None if orders > 0 => (mean, LeadTimeBasis::FewOrders),
        None => (LEAD_TIME_DAYS_ASSUMED, LeadTimeBasis::Assumed),
    };
    let mean_days = mean_days.min(LEAD_TIME_DAYS_MAX);
    Ok(LeadTime {
        mean_days,
        sd_days: CATALOGUE_CV * mean_days,
        orders,
        basis,
    })
}

impl LeadTime {
    /// The distribution over whole days: `(days, weight)` by rising days, the weights summing to [`WEIGHT_TOTAL`].
    ///
    /// A gamma distribution of the same mean and standard deviation (our choice: it is never negative and leans
    /// late, as deliveries do), each day taking the half days around it; what is left falls on day 730. Without
    /// deviation all weight is on the mean, rounded.
    ///
    /// ```
    /// use heeltap::reorder::lead_time::{LeadTime, LeadTimeBasis, WEIGHT_TOTAL};
    /// let sure = LeadTime { mean_days: 9.0, sd_days: 0.0, orders: 5, basis: LeadTimeBasis::PastOrders };
    /// assert_eq!(sure.by_day(), [(9, WEIGHT_TOTAL)]);
    /// ```
    #[must_use]
    pub fn by_day(&self) -> Vec<(u32, u64)> {
        let rounded = self.mean_days.round().clamp(0.0, LEAD_TIME_DAYS_MAX) as u32;
        let point = vec![(rounded, WEIGHT_TOTAL)];
        let (mean, variance) = (self.mean_days, self.sd_days * self.sd_days);
        if !(mean > 0.0 && variance > 1e-9) {
            return point;
        }
        let Ok(gamma) = Gamma::new(mean * mean / variance, mean / variance) else {
            return point;
        };
        let mut days = Vec::new();
        let mut before = 0;
        for day in 0..LEAD_TIME_DAYS_MAX as u32 {
            let share = gamma.cdf(f64::from(day) + 0.5);
            let reached =
                ((share * WEIGHT_TOTAL as f64).round() as u64).clamp(before, WEIGHT_TOTAL);
            if reached > before {
                days.push((day, reached - before));
            }
            before = reached;
            if reached == WEIGHT_TOTAL {
                break;
            }
        }
        if before < WEIGHT_TOTAL {
            days.push((LEAD_TIME_DAYS_MAX as u32, WEIGHT_TOTAL - before));
        }
        days
    }
}

/// Standard deviation of the demand over a lead time: sqrt(L sd^2 + d^2 sL^2).
///
/// `mean_demand` and `sd_demand` are per period, `mean_lead_time` and `sd_lead_time` in periods; demands of
/// different periods and the
/// lead time are taken as independent. Source: from memory (Chopra and Meindl; Silver, Pyke and Thomas).
///
/// ```
/// use heeltap::reorder::lead_time::lead_time_demand_sd;
/// assert!((lead_time_demand_sd(20.0, 6.0, 14.0, 3.0) - 64.062_469_512_187_86).abs() < 1e-12);
/// ```
#[must_use]
pub fn lead_time_demand_sd(
    mean_demand: f64,
    sd_demand: f64,
    mean_lead_time: f64,
    sd_lead_time: f64,
) -> f64 {
    (mean_lead_time.max(0.0) * sd_demand * sd_demand + (mean_demand * sd_lead_time).powi(2)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(past: &[u32], catalogue: Option<f64>, mean: f64, sd: f64, basis: LeadTimeBasis) {
        let found = lead_time(past, catalogue).unwrap();
        assert_eq!((found.basis, found.orders), (basis, past.len()));
        assert!(
            (found.mean_days - mean).abs() < 1e-12,
            "{}",
            found.mean_days
        );
        assert!((found.sd_days - sd).abs() < 1e-12, "{}", found.sd_days);
    }

    #[test]
    fn the_four_bases() {
        check(&[7; 5], Some(30.0), 7.0, 0.0, LeadTimeBasis::PastOrders);
        check(&[7; 4], Some(30.0), 30.0, 9.0, LeadTimeBasis::Catalogue);
        check(&[7, 9], None, 8.0, 2.4, LeadTimeBasis::FewOrders);
        check(&[], None, 14.0, 4.2, LeadTimeBasis::Assumed);
    }

    #[test]
    fn a_bad_catalogue_value_is_named() {
        let error = lead_time(&[], Some(-1.0)).unwrap_err();
        assert_eq!(
            error.to_string(),
            "lead_time_days is -1, but must be a number of 0 or more"
        );
    }

    #[test]
    fn the_distribution_keeps_mean_and_deviation() {
        let days = lead_time(&[], Some(20.0)).unwrap().by_day();
        let total = WEIGHT_TOTAL as f64;
        let mean: f64 = days
            .iter()
            .map(|&(d, w)| f64::from(d) * w as f64 / total)
            .sum();
        let variance: f64 = days
            .iter()
            .map(|&(d, w)| (f64::from(d) - mean).powi(2) * w as f64 / total)
            .sum();
        assert!((mean - 20.0).abs() < 0.01, "{mean}");
        // Whole days add the variance of a rounding, 1/12 (Sheppard).
        assert!((variance - 36.0 - 1.0 / 12.0).abs() < 0.1, "{variance}");
    }

    proptest! {
        #[test]
        fn weights_are_complete_and_a_longer_mean_is_never_earlier(mean in 0.0..800.0_f64, more in 1.0..2.0_f64) {
            let short = lead_time(&[], Some(mean)).unwrap().by_day();
            let long = lead_time(&[], Some(mean * more)).unwrap().by_day();
            let until = |days: &[(u32, u64)], day| -> u64 {
                days.iter().filter(|(d, _)| *d <= day).map(|(_, w)| w).sum()
            };
            prop_assert_eq!(until(&short, 730), WEIGHT_TOTAL);
            prop_assert_eq!(until(&long, 730), WEIGHT_TOTAL);
            for day in 0..730 {
                prop_assert!(until(&long, day) <= until(&short, day));
            }
        }
    }
}
