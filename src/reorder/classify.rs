//! Which kind of demand a series is: smooth, erratic, intermittent or lumpy.
//!
//! Source: Syntetos, Boylan and Croston, "On the categorization of demand patterns", J. Oper. Res. Soc. 56 (2005)
//! 495-503: cut-offs 1.32 for the mean interval and 0.49 for the squared coefficient of variation of the sizes
//! that are not zero. Invariants: both are compared as exact ratios, never as floats; equality counts as the
//! low side (a convention: published secondary sources differ); the variance is the population's. Absent: the
//! choice of the forecast, see [`super::forecast`].

use std::cmp::Ordering;

/// A ratio of two whole numbers, compared exactly.
#[derive(Debug, Clone, Copy)]
pub struct Ratio {
    numerator: u128,
    denominator: u128,
}

impl Ratio {
    /// `numerator` / `denominator`; none for a denominator of 0.
    ///
    /// ```
    /// use heeltap::reorder::classify::Ratio;
    /// assert_eq!(Ratio::new(1, 2), Ratio::new(3, 6));
    /// assert!(Ratio::new(1, 0).is_none());
    /// ```
    #[must_use]
    pub const fn new(numerator: u128, denominator: u128) -> Option<Ratio> {
        if denominator == 0 {
            None
        } else {
            Some(Ratio {
                numerator,
                denominator,
            })
        }
    }

    /// `millionths` / 10^6; a negative number counts as 0.
    ///
    /// ```
    /// use heeltap::reorder::classify::Ratio;
    /// assert_eq!(Some(Ratio::from_micro(950_000)), Ratio::new(19, 20));
    /// ```
    #[must_use]
    pub fn from_micro(millionths: i64) -> Ratio {
        Ratio {
            numerator: u128::from(millionths.max(0).unsigned_abs()),
            denominator: 1_000_000,
        }
    }

    /// The nearest float, for forecasts and for show.
    #[must_use]
    pub fn as_f64(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }
}

impl PartialEq for Ratio {
    fn eq(&self, other: &Ratio) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Ratio {}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Ratio) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ratio {
    /// Compares whole parts, then the reciprocals of the rests the other way round (continued fractions), so
    /// that no product can overflow.
    fn cmp(&self, other: &Ratio) -> Ordering {
        let (mut left, mut right) = (*self, *other);
        let mut swapped = false;
        loop {
            let whole =
                (left.numerator / left.denominator).cmp(&(right.numerator / right.denominator));
            let rests = (
                left.numerator % left.denominator,
                right.numerator % right.denominator,
            );
            let decided = match (whole, rests) {
                (Ordering::Equal, (0, 0)) => Some(Ordering::Equal),
                (Ordering::Equal, (0, _)) => Some(Ordering::Less),
                (Ordering::Equal, (_, 0)) => Some(Ordering::Greater),
                (Ordering::Equal, _) => None,
                (unequal, _) => Some(unequal),
            };
            if let Some(order) = decided {
                return if swapped { order.reverse() } else { order };
            }
            left = Ratio {
                numerator: left.denominator,
                denominator: rests.0,
            };
            right = Ratio {
                numerator: right.denominator,
                denominator: rests.1,
            };
            swapped = !swapped;
        }
    }
}

/// Longest mean interval, in periods, that counts as regular.
pub const MEAN_INTERVAL_CUT: Ratio = Ratio {
    numerator: 33,
    denominator: 25,
};
/// Largest squared coefficient of variation that counts as even.
pub const CV_SQUARED_CUT: Ratio = Ratio {
    numerator: 49,
    denominator: 100,
};

/// Kind of a demand series.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DemandClass {
    /// Often and even.
    Smooth,
    /// Often, but uneven.
    Erratic,
    /// Seldom, but even.
    Intermittent,
    /// Seldom and uneven.
    Lumpy,
}

impl DemandClass {
    /// The name in the API, such as `smooth`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            DemandClass::Smooth => "smooth",
            DemandClass::Erratic => "erratic",
            DemandClass::Intermittent => "intermittent",
            DemandClass::Lumpy => "lumpy",
        }
    }
}

/// The class by the two measures.
///
/// ```
/// use heeltap::reorder::classify::{DemandClass, Ratio, class_of};
/// let (interval, cv_squared) = (Ratio::new(132, 100).unwrap(), Ratio::new(49, 100).unwrap());
/// assert_eq!(class_of(interval, cv_squared), DemandClass::Smooth);
/// ```
#[must_use]
pub fn class_of(mean_interval: Ratio, cv_squared: Ratio) -> DemandClass {
    match (
        mean_interval <= MEAN_INTERVAL_CUT,
        cv_squared <= CV_SQUARED_CUT,
    ) {
        (true, true) => DemandClass::Smooth,
        (true, false) => DemandClass::Erratic,
        (false, true) => DemandClass::Intermittent,
        (false, false) => DemandClass::Lumpy,
    }
}

/// A series' class with the measures it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Classification {
    /// The class.
    pub class: DemandClass,
    /// Periods per demand: all periods over those with demand.
    pub mean_interval: Ratio,
    /// Population variance over squared mean, of the sizes that are not zero.
    pub cv_squared: Ratio,
    /// Number of periods with demand.
    pub demands: usize,
}

/// Classifies a series of demand per period in millionths of the unit; none when nothing was ever used.
///
/// Exact for quantities up to 10^9 units in up to 18,000 periods. Beyond that the sizes are halved until the
/// sums fit in 128 bits. Negative quantities count as 0.
///
/// ```
/// use heeltap::reorder::classify::{DemandClass, classify};
/// let found = classify(&[0, 40, 0, 0, 2, 0, 0, 0, 90, 0, 0, 1, 0, 15, 0]).unwrap();
/// assert_eq!(found.class, DemandClass::Lumpy);
/// assert_eq!(found.mean_interval.as_f64(), 3.0);
/// assert!(classify(&[0, 0]).is_none());
/// ```
#[must_use]
pub fn classify(demand_micro: &[i64]) -> Option<Classification> {
    let mut sizes: Vec<u128> = demand_micro
        .iter()
        .filter(|&&quantity| quantity > 0)
        .map(|&quantity| u128::from(quantity.unsigned_abs()))
        .collect();
    let demands = sizes.len();
    let mean_interval = Ratio::new(demand_micro.len() as u128, demands as u128)?;
    let cv_squared = loop {
        if let Some(measured) = cv_squared(&sizes) {
            break measured;
        }
        for size in &mut sizes {
            *size = (*size / 2).max(1);
        }
    };
    Some(Classification {
        class: class_of(mean_interval, cv_squared),
        mean_interval,
        cv_squared,
        demands,
    })
}

/// (m sum x^2 - S^2) / S^2 over the m sizes with sum S; none when 128 bits do not hold it.
fn cv_squared(sizes: &[u128]) -> Option<Ratio> {
    let mut sum = 0_u128;
    let mut squares = 0_u128;
    for &size in sizes {
        sum = sum.checked_add(size)?;
        squares = squares.checked_add(size.checked_mul(size)?)?;
    }
    let square_of_sum = sum.checked_mul(sum)?;
    let excess = squares
        .checked_mul(sizes.len() as u128)?
        .checked_sub(square_of_sum)?;
    Ratio::new(excess, square_of_sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(demand: &[i64], expected: Option<DemandClass>) {
        assert_eq!(classify(demand).map(|found| found.class), expected);
    }

    #[test]
    fn the_four_classes() {
        check(&[10, 12, 11, 9, 10], Some(DemandClass::Smooth));
        check(&[1, 30, 4, 2, 55], Some(DemandClass::Erratic));
        check(
            &[0, 0, 5, 0, 0, 0, 5, 0, 6],
            Some(DemandClass::Intermittent),
        );
        check(&[0, 40, 0, 0, 2, 0, 0, 90], Some(DemandClass::Lumpy));
        check(&[0, 0, 0], None);
        check(&[], None);
    }

    #[test]
    fn the_interval_cut_is_exact() {
        // 33 periods with 25 demands are exactly 1.32; one period more is above it.
        let mut series = vec![7; 25];
        series.extend([0; 8]);
        check(&series, Some(DemandClass::Smooth));
        series.push(0);
        check(&series, Some(DemandClass::Intermittent));
    }

    #[test]
    fn the_variation_cut_is_exact() {
        // Sizes 3 and 17 have the squared coefficient of variation (7/10)^2 = 0.49 exactly.
        check(&[3, 17, 3, 17], Some(DemandClass::Smooth));
        check(&[2_999_999, 17_000_000], Some(DemandClass::Erratic));
    }

    #[test]
    fn sizes_at_the_end_of_the_range_do_not_overflow() {
        check(&[i64::MAX; 40], Some(DemandClass::Smooth));
        check(&[i64::MAX, 1, 1, 1], Some(DemandClass::Erratic));
    }

    proptest! {
        #[test]
        fn ratios_compare_as_their_cross_products(a in 0_u64.., b in 1_u64.., c in 0_u64.., d in 1_u64..) {
            let wide = u128::from;
            let by_product = (wide(a) * wide(d)).cmp(&(wide(c) * wide(b)));
            let (left, right) = (Ratio::new(wide(a), wide(b)).unwrap(), Ratio::new(wide(c), wide(d)).unwrap());
            prop_assert_eq!(left.cmp(&right), by_product);
        }

        #[test]
        fn scaling_a_series_never_changes_its_class(series in prop::collection::vec(0_i64..1000, 0..60), by in 1_i64..1_000_000) {
            let scaled: Vec<i64> = series.iter().map(|x| x * by).collect();
            prop_assert_eq!(classify(&series).map(|c| c.class), classify(&scaled).map(|c| c.class));
        }
    }
}
