//! The normal distribution as inventory control uses it: quantile, loss, fill rate, newsvendor.
//!
//! Sources: L(z) = phi(z) - z (1 - Phi(z)), the standard normal loss; fill rate 1 - sigma L(z)/Q and its two-sided
//! form (Hadley and Whitin, Analysis of Inventory Systems, 1963, from memory); newsvendor ratio cu/(cu + co).
//! Invariants: no result is not-a-number; tails are taken from the survival function, because 1 - Phi(z)
//! loses all its digits for a large z. Absent: which of these a material uses, see [`super::reorder_point`].

use statrs::distribution::{ContinuousCDF, DiscreteCDF, Normal, Poisson};

/// An argument out of range.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{parameter} is {value}, but must be {bounds}")]
pub struct OutOfRange {
    /// Name of the argument, with its unit.
    pub parameter: &'static str,
    /// What was given.
    pub value: f64,
    /// What would be right.
    pub bounds: &'static str,
}

fn within(
    parameter: &'static str,
    value: f64,
    right: bool,
    bounds: &'static str,
) -> Result<f64, OutOfRange> {
    if right && value.is_finite() {
        Ok(value)
    } else {
        Err(OutOfRange {
            parameter,
            value,
            bounds,
        })
    }
}

pub(super) fn positive(parameter: &'static str, value: f64) -> Result<f64, OutOfRange> {
    within(parameter, value, value > 0.0, "a number above 0")
}

pub(super) fn non_negative(parameter: &'static str, value: f64) -> Result<f64, OutOfRange> {
    within(parameter, value, value >= 0.0, "a number of 0 or more")
}

fn probability(parameter: &'static str, value: f64) -> Result<f64, OutOfRange> {
    within(
        parameter,
        value,
        value > 0.0 && value < 1.0,
        "above 0 and below 1",
    )
}

/// Density of the standard normal distribution.
fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

/// From here on the tail is taken from the continued fraction.
const TAIL_Z: f64 = 2.0;

/// Survival and loss over density, for a z of at least 2.
///
/// The repeated integrals Hh_n of the normal tail obey n Hh_n + z Hh_(n-1) = Hh_(n-2) (Abramowitz and Stegun,
/// Handbook of Mathematical Functions, section 7.2, from memory). Their ratios r_n = Hh_n / Hh_(n-1) are a continued
/// fraction
/// without any difference: r_(n-1) = 1 / (z + n r_n); survival = phi r_0 and loss = phi r_0 r_1.
fn tail_ratios(z: f64) -> (f64, f64) {
    let mut ratio = 0.0;
    for n in (2..=80).rev() {
        ratio = 1.0 / (z + f64::from(n) * ratio);
    }
    let survival = 1.0 / (z + ratio);
    (survival, survival * ratio)
}

/// Probability that a standard normal variable is at most `z`.
///
/// ```
/// use heeltap::reorder::service::normal_cdf;
/// assert!((normal_cdf(1.0) - 0.841_344_746_068_542_9).abs() < 1e-14);
/// ```
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    if z <= -TAIL_Z {
        return density(z) * tail_ratios(-z).0;
    }
    if z >= TAIL_Z {
        return 1.0 - density(z) * tail_ratios(z).0;
    }
    0.5 + central_mass(z)
}

/// Probability between 0 and `z`, negative for a negative `z`, for |z| below 2.
///
/// phi(z) sum z^(2n+1) / (1 3 5 ... (2n+1)) (Abramowitz and Stegun, 26.2.11, from memory): terms of one sign. The
/// library's erfc is good to 1e-11 only, which is too little for the quantile.
fn central_mass(z: f64) -> f64 {
    let (mut term, mut sum) = (z, 0.0);
    for n in 1..=40 {
        sum += term;
        term *= z * z / f64::from(2 * n + 1);
    }
    density(z) * sum
}

/// The z below which a standard normal variable stays with probability `probability`.
///
/// The library's inverse, polished by one Newton step on the smaller tail.
///
/// # Errors
/// [`OutOfRange`] unless 0 < `probability` < 1.
///
/// ```
/// use heeltap::reorder::service::normal_quantile;
/// assert!((normal_quantile(0.95).unwrap() - 1.644_853_626_951_472_2).abs() < 1e-12);
/// assert!(normal_quantile(1.0).is_err());
/// ```
pub fn normal_quantile(probability: f64) -> Result<f64, OutOfRange> {
    let p = self::probability("probability", probability)?;
    let rough = Normal::standard().inverse_cdf(p);
    let density = density(rough);
    let step = if p < 0.5 {
        (normal_cdf(rough) - p) / density
    } else {
        ((1.0 - p) - normal_cdf(-rough)) / density
    };
    Ok(if step.is_finite() {
        rough - step
    } else {
        rough
    })
}

/// Expected shortage of a standard normal demand over a stock of `z`: L(z) = phi(z) - z (1 - Phi(z)).
///
/// ```
/// use heeltap::reorder::service::normal_loss;
/// assert!((normal_loss(1.0) / 0.083_315_470_587_686_3 - 1.0).abs() < 1e-12);
/// assert!((normal_loss(-3.0) - normal_loss(3.0) - 3.0).abs() < 1e-14);
/// ```
#[must_use]
pub fn normal_loss(z: f64) -> f64 {
    if z < 0.0 {
        return normal_loss(-z) - z;
    }
    if z >= TAIL_Z {
        return density(z) * tail_ratios(z).1;
    }
    density(z) - z * normal_cdf(-z)
}

/// Demand over the lead time as a normal distribution with the order that covers it, all in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillRateInputs {
    /// Mean demand over the lead time, 0 or more.
    pub mean: f64,
    /// Standard deviation of it, above 0.
    pub sd: f64,
    /// Stock at which the order is placed.
    pub reorder_point: f64,
    /// Size of the order, above 0.
    pub order_quantity: f64,
}

/// The service that a reorder point gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillRate {
    /// Safety stock in standard deviations.
    pub z: f64,
    /// Probability of no shortage in a cycle.
    pub cycle_service_level: f64,
    /// Expected shortage in a cycle.
    pub short_per_cycle: f64,
    /// Share of demand met from stock: 1 - sigma L(z)/Q. Poor, even negative, when Q is small against sigma.
    pub approximate: f64,
    /// The same by L(z) - L(z + Q/sigma), which does not count a shortage twice.
    pub two_sided: f64,
}

/// The service of a reorder point under normal demand over the lead time.
///
/// # Errors
/// [`OutOfRange`] for a standard deviation or order of 0 or less, or a mean or reorder point that is not a number.
///
/// ```
/// use heeltap::reorder::service::{FillRateInputs, fill_rate};
/// let inputs = FillRateInputs { mean: 100.0, sd: 30.0, reorder_point: 130.0, order_quantity: 200.0 };
/// let service = fill_rate(&inputs).unwrap();
/// assert!((service.approximate - 0.987_502_679_411_847_1).abs() < 1e-12);
/// ```
pub fn fill_rate(inputs: &FillRateInputs) -> Result<FillRate, OutOfRange> {
    let sd = positive("sd", inputs.sd)?;
    let order_quantity = positive("order_quantity", inputs.order_quantity)?;
    let reorder_point = within("reorder_point", inputs.reorder_point, true, "a number")?;
    let z = (reorder_point - non_negative("mean", inputs.mean)?) / sd;
    let short_per_cycle = sd * normal_loss(z);
    let beyond = sd * normal_loss(z + order_quantity / sd);
    Ok(FillRate {
        z,
        cycle_service_level: normal_cdf(z),
        short_per_cycle,
        approximate: 1.0 - short_per_cycle / order_quantity,
        two_sided: 1.0 - (short_per_cycle - beyond) / order_quantity,
    })
}

/// The z at which the approximate fill rate is `target_fill_rate`: L(z) = (1 - target) Q / sigma.
///
/// # Errors
/// [`OutOfRange`] for an `sd` or `order_quantity` of 0 or less, or a target that is not between 0 and 1.
///
/// ```
/// use heeltap::reorder::service::z_for_fill_rate;
/// assert!((z_for_fill_rate(30.0, 200.0, 0.99).unwrap() - 1.114_563_878_087_06).abs() < 1e-9);
/// ```
pub fn z_for_fill_rate(
    sd: f64,
    order_quantity: f64,
    target_fill_rate: f64,
) -> Result<f64, OutOfRange> {
    let ratio = positive("order_quantity", order_quantity)? / positive("sd", sd)?;
    let wanted = (1.0 - probability("target_fill_rate", target_fill_rate)?) * ratio;
    // L falls, L(-w) > w, and L(38) is below the smallest float, so that the root is always between.
    let (mut low, mut high) = (-wanted, 38.0_f64.max(-wanted));
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if normal_loss(middle) > wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}

/// Share of demand worth covering: cost of one too few over that and the cost of one too many.
///
/// # Errors
/// [`OutOfRange`] for a cost of 0 or less.
///
/// ```
/// use heeltap::reorder::service::critical_ratio;
/// assert_eq!(critical_ratio(9.0, 1.0).unwrap(), 0.9);
/// ```
pub fn critical_ratio(underage_cost: f64, overage_cost: f64) -> Result<f64, OutOfRange> {
    let underage = positive("underage_cost", underage_cost)?;
    Ok(underage / (underage + positive("overage_cost", overage_cost)?))
}

/// One purchase for one season, under normal demand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewsvendorNormal {
    /// The critical ratio.
    pub critical_ratio: f64,
    /// Its normal quantile.
    pub z: f64,
    /// What to buy.
    pub quantity: f64,
    /// Expected demand that is not met.
    pub expected_short: f64,
    /// Expected rest that is left over.
    pub expected_leftover: f64,
}

/// The best single purchase for a normal demand of `mean` and `sd`.
///
/// # Errors
/// [`OutOfRange`] for a cost or standard deviation of 0 or less, or a negative mean.
///
/// ```
/// use heeltap::reorder::service::newsvendor_normal;
/// let buy = newsvendor_normal(10_000.0, 2_000.0, 5.0, 7.0).unwrap();
/// assert!((buy.quantity - 9_579.143_211_504_15).abs() < 1e-6);
/// ```
pub fn newsvendor_normal(
    mean: f64,
    sd: f64,
    underage_cost: f64,
    overage_cost: f64,
) -> Result<NewsvendorNormal, OutOfRange> {
    let critical_ratio = critical_ratio(underage_cost, overage_cost)?;
    let z = normal_quantile(critical_ratio)?;
    let sd = positive("sd", sd)?;
    let quantity = non_negative("mean", mean)? + z * sd;
    Ok(NewsvendorNormal {
        critical_ratio,
        z,
        quantity,
        expected_short: sd * normal_loss(z),
        expected_leftover: sd * normal_loss(-z),
    })
}

/// One purchase for one season, under Poisson demand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewsvendorPoisson {
    /// The critical ratio.
    pub critical_ratio: f64,
    /// What to buy: the smallest number at which the distribution reaches the ratio.
    pub quantity: u64,
    /// Probability of a demand of at most that.
    pub cdf: f64,
    /// Expected cost of too few and too many.
    pub expected_cost: f64,
}

/// The best single purchase for a Poisson demand of `mean` (above 0, at most 10^6).
///
/// # Errors
/// [`OutOfRange`] for a cost of 0 or less or a mean out of range.
///
/// ```
/// use heeltap::reorder::service::newsvendor_poisson;
/// assert_eq!(newsvendor_poisson(4.0, 9.0, 1.0).unwrap().quantity, 7);
/// ```
pub fn newsvendor_poisson(
    mean: f64,
    underage_cost: f64,
    overage_cost: f64,
) -> Result<NewsvendorPoisson, OutOfRange> {
    let critical_ratio = critical_ratio(underage_cost, overage_cost)?;
    let bounds = "above 0 and at most 1000000";
    let mean = within("mean", mean, mean > 0.0 && mean <= 1e6, bounds)?;
    let poisson = Poisson::new(mean).map_err(|_| OutOfRange {
        parameter: "mean",
        value: mean,
        bounds,
    })?;
    let (mut low, mut high) = (0, (mean + 40.0 * mean.sqrt() + 40.0) as u64);
    while low < high {
        let middle = low + (high - low) / 2;
        if poisson.cdf(middle) >= critical_ratio {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    // E(Q - X)+ = Q F(Q) - mean F(Q - 1), because x P(X = x) = mean P(X = x - 1).
    let cdf = poisson.cdf(low);
    let cdf_before = low.checked_sub(1).map_or(0.0, |before| poisson.cdf(before));
    let leftover = low as f64 * cdf - mean * cdf_before;
    let short = mean - low as f64 + leftover;
    Ok(NewsvendorPoisson {
        critical_ratio,
        quantity: low,
        cdf,
        expected_cost: underage_cost * short + overage_cost * leftover,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check_loss(z: f64, expected: f64) {
        let relative = normal_loss(z) / expected - 1.0;
        assert!(relative.abs() < 1e-9, "L({z}) is off by {relative}");
    }

    #[test]
    fn the_loss_keeps_its_digits_in_the_tail() {
        // The asymptotic series phi(z) (1/z^2 - 3/z^4 + 15/z^6 - ...) is exact enough at z = 20.
        let (z, mut term, mut series) = (20.0_f64, 1.0 / 400.0, 0.0);
        for n in 1..15 {
            series += term;
            term *= -f64::from(2 * n + 1) / (z * z);
        }
        check_loss(z, density(z) * series);
    }

    #[test]
    fn the_tail_meets_the_middle() {
        let survival = 0.5 - central_mass(TAIL_Z);
        check_loss(TAIL_Z, density(TAIL_Z) - TAIL_Z * survival);
        assert!((normal_cdf(-TAIL_Z) / survival - 1.0).abs() < 1e-13);
    }

    #[test]
    fn not_a_number_is_never_returned_for_an_infinite_z() {
        assert_eq!(normal_loss(f64::INFINITY), 0.0);
        assert_eq!(normal_cdf(f64::NEG_INFINITY), 0.0);
        assert_eq!(normal_loss(1e200), 0.0);
    }

    #[test]
    fn errors_name_the_argument() {
        let inputs = FillRateInputs {
            mean: 1.0,
            sd: 0.0,
            reorder_point: 1.0,
            order_quantity: 1.0,
        };
        assert_eq!(
            fill_rate(&inputs).unwrap_err().to_string(),
            "sd is 0, but must be a number above 0"
        );
        assert_eq!(
            z_for_fill_rate(1.0, 1.0, 1.0).unwrap_err().parameter,
            "target_fill_rate"
        );
        assert_eq!(
            newsvendor_poisson(f64::NAN, 1.0, 1.0)
                .unwrap_err()
                .parameter,
            "mean"
        );
    }

    #[test]
    fn the_poisson_purchase_is_the_cheapest_by_brute_force() {
        let best = newsvendor_poisson(2.5, 3.0, 2.0).unwrap();
        let cost = |quantity: u64| {
            let mut probability = (-2.5_f64).exp();
            (0..80_u64).fold(0.0, |sum, x| {
                let gap = quantity as f64 - x as f64;
                let term = probability * if gap < 0.0 { -3.0 * gap } else { 2.0 * gap };
                probability *= 2.5 / (x + 1) as f64;
                sum + term
            })
        };
        assert!((best.expected_cost - cost(best.quantity)).abs() < 1e-12);
        assert!((0..20).all(|other| cost(other) >= best.expected_cost - 1e-12));
    }

    proptest! {
        #[test]
        fn the_quantile_inverts_the_distribution(p in 1e-9..0.999_999_999_f64) {
            let z = normal_quantile(p).unwrap();
            prop_assert!((normal_cdf(z) / p - 1.0).abs() < 1e-12);
        }

        #[test]
        fn z_for_a_fill_rate_gives_that_fill_rate(sd in 0.1..1e4_f64, q in 0.1..1e5_f64, target in 0.01..0.9999_f64) {
            let z = z_for_fill_rate(sd, q, target).unwrap();
            let inputs = FillRateInputs { mean: 1e6, sd, reorder_point: 1e6 + z * sd, order_quantity: q };
            prop_assert!((fill_rate(&inputs).unwrap().approximate - target).abs() < 1e-6);
        }
    }
}
