//! Splitting a whole amount so that the parts add up to it, and the one rounding rule.
//!
//! For: freight over lines, shares over grants, a printed total over its rows. Invariants: the parts
//! sum to the total exactly; equal inputs give equal outputs, ties going to the lowest index; a negative
//! total mirrors the positive one. Deliberately absent: weights as floats.

/// Why an amount could not be split.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ApportionError {
    /// There is something to split and nothing to split it by.
    #[error("no positive base to allocate over: {total} cannot be split when every weight is zero")]
    NoPositiveBase {
        /// The amount that was to be split.
        total: i64,
    },
    /// A weight was below zero.
    #[error("weight {weight} at position {index} is negative: weights must be zero or more")]
    NegativeWeight {
        /// Position of the weight, from 0.
        index: usize,
        /// The weight.
        weight: i64,
    },
}

/// Splits `total` in proportion to `weights` by the largest remainder (Hamilton's method).
///
/// Every part gets the floor of its exact share; what is left goes, one each, to the largest
/// remainders, ties to the lowest index. A negative total gives the negated parts of the positive one.
/// A total of zero gives zeros, whatever the weights.
///
/// # Errors
/// [`ApportionError::NoPositiveBase`] if `total` is not zero and no weight is positive;
/// [`ApportionError::NegativeWeight`] if a weight is negative.
///
/// ```
/// use heeltap::base::apportion;
/// assert_eq!(apportion(100, &[1, 1, 1])?, [34, 33, 33]);
/// assert_eq!(apportion(-100, &[1, 1, 1])?, [-34, -33, -33]);
/// assert!(apportion(1, &[0, 0]).is_err());
/// # Ok::<(), heeltap::base::ApportionError>(())
/// ```
pub fn apportion(total: i64, weights: &[i64]) -> Result<Vec<i64>, ApportionError> {
    if let Some((index, &weight)) = weights.iter().enumerate().find(|(_, w)| **w < 0) {
        return Err(ApportionError::NegativeWeight { index, weight });
    }
    if total == 0 {
        return Ok(vec![0; weights.len()]);
    }
    let base: i128 = weights.iter().map(|&w| i128::from(w)).sum();
    if base == 0 {
        return Err(ApportionError::NoPositiveBase { total });
    }
    let magnitude = i128::from(total).abs();
    // Both factors are below 2^64, so that the product fits in 128 bits.
    let products: Vec<i128> = weights.iter().map(|&w| magnitude * i128::from(w)).collect();
    let mut parts: Vec<i128> = products.iter().map(|p| p / base).collect();
    let left = magnitude - parts.iter().sum::<i128>();
    let mut order: Vec<usize> = (0..weights.len()).collect();
    // The sort is stable, which is what sends ties to the lowest index.
    order.sort_by_key(|&i| std::cmp::Reverse(products[i] % base));
    // Fewer units are left over than there are weights with a remainder.
    for &i in order
        .iter()
        .take(usize::try_from(left).unwrap_or(usize::MAX))
    {
        parts[i] += 1;
    }
    let sign = i128::from(total.signum());
    // Each part lies between zero and the total, hence fits.
    Ok(parts.into_iter().map(|p| (p * sign) as i64).collect())
}

/// `num / den` rounded to the nearest integer, ties to the even one (IEEE 754 roundTiesToEven).
///
/// `None` if `den` is zero or the quotient does not fit.
///
/// ```
/// use heeltap::base::round_half_even_div;
/// assert_eq!(round_half_even_div(5, 2), Some(2));
/// assert_eq!(round_half_even_div(7, 2), Some(4));
/// assert_eq!(round_half_even_div(-5, 2), Some(-2));
/// assert_eq!(round_half_even_div(1, 0), None);
/// ```
#[must_use]
pub fn round_half_even_div(num: i128, den: i128) -> Option<i128> {
    let quotient = num.checked_div(den)?;
    let remainder = num.checked_rem(den)?;
    let twice = remainder.unsigned_abs().checked_mul(2)?;
    let size = den.unsigned_abs();
    let away = twice > size || (twice == size && quotient % 2 != 0);
    if !away {
        return Some(quotient);
    }
    if (num < 0) == (den < 0) {
        quotient.checked_add(1)
    } else {
        quotient.checked_sub(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(total: i64, weights: &[i64], expected: &[i64]) {
        assert_eq!(apportion(total, weights).as_deref(), Ok(expected));
    }

    #[test]
    fn ties_go_to_the_lowest_index() {
        check(1, &[1, 1], &[1, 0]);
        check(5, &[1, 1, 1], &[2, 2, 1]);
        check(-5, &[1, 1, 1], &[-2, -2, -1]);
    }

    #[test]
    fn zero_weights_get_nothing() {
        check(7, &[0, 3, 0], &[0, 7, 0]);
        check(0, &[0, 0], &[0, 0]);
        check(0, &[], &[]);
    }

    #[test]
    fn the_extremes_fit() {
        check(i64::MIN, &[i64::MAX], &[i64::MIN]);
        check(i64::MAX, &[i64::MAX, 0], &[i64::MAX, 0]);
    }

    #[test]
    fn nothing_to_split_by_is_an_error() {
        let error = apportion(500, &[0, 0]).map_err(|e| e.to_string());
        assert!(error.is_err_and(|e| e.starts_with("no positive base to allocate over")));
        assert!(apportion(1, &[]).is_err());
        assert_eq!(
            apportion(1, &[3, -2]),
            Err(ApportionError::NegativeWeight {
                index: 1,
                weight: -2
            })
        );
    }

    proptest! {
        #[test]
        fn parts_sum_and_stay_within_one_of_their_share(
            total in any::<i64>(),
            weights in prop::collection::vec(0..i64::MAX, 1..12),
        ) {
            prop_assume!(weights.iter().any(|w| *w > 0));
            let parts = apportion(total, &weights).map_err(|e| TestCaseError::fail(e.to_string()))?;
            let sum: i128 = parts.iter().map(|p| i128::from(*p)).sum();
            prop_assert_eq!(sum, i128::from(total));
            let base: i128 = weights.iter().map(|w| i128::from(*w)).sum();
            for (part, weight) in parts.iter().zip(&weights) {
                let floor = i128::from(total).abs() * i128::from(*weight) / base;
                let excess = i128::from(*part).abs() - floor;
                prop_assert!(excess == 0 || excess == 1);
            }
        }

        #[test]
        fn rounding_is_within_a_half(num in -(1_i128 << 100)..(1_i128 << 100), den in 1_i128..(1 << 60)) {
            let rounded = round_half_even_div(num, den).ok_or_else(|| TestCaseError::fail("none"))?;
            let error = (num - rounded * den).abs() * 2;
            prop_assert!(error < den || (error == den && rounded % 2 == 0));
        }
    }
}
