//! Which copies of a mold are cast in which round, and before which round each of them is taped.
//!
//! Invariants: a round takes each copy at most once; over all rounds the trays are dealt over the copies as evenly as
//! possible. Absent: how many rounds there are (`batches`), and which copies are coated (`release`).

use super::bounds::{OutOfRange, at_least_one};
use super::release::rounds_per_copy;

/// The copies (from 1) that are cast in each round, when the rounds have so many trays each.
///
/// The copies with most casts still to come are taken first, then those with the lower number.
///
/// # Errors
/// [`OutOfRange`] for no copies, or a round of more trays than there are copies.
///
/// ```
/// use heeltap::casting::sums::rounds::copies_by_round;
/// assert_eq!(copies_by_round(&[3, 2, 2], 3).unwrap(), [vec![1, 2, 3], vec![1, 2], vec![1, 3]]);
/// ```
pub fn copies_by_round(trays_by_round: &[u32], copies: u32) -> Result<Vec<Vec<u32>>, OutOfRange> {
    let mut left = rounds_per_copy(trays_by_round.iter().sum(), copies)?;
    trays_by_round
        .iter()
        .map(|&trays| {
            if trays > copies {
                return Err(OutOfRange {
                    parameter: "trays of a round",
                    value: f64::from(trays),
                    bound: format!("at most the {copies} copies of the mold"),
                });
            }
            let mut order: Vec<usize> = (0..left.len()).collect();
            order.sort_by_key(|&copy| (std::cmp::Reverse(left[copy]), copy));
            order.truncate(trays as usize);
            order.sort_unstable();
            for &copy in &order {
                left[copy] = left[copy].saturating_sub(1);
            }
            Ok(order.into_iter().map(|copy| copy as u32 + 1).collect())
        })
        .collect()
}

/// The copies that are taped before each round: each before its first cast and after every `casts_per_setup` casts.
///
/// # Errors
/// [`OutOfRange`] for a setup of no casts.
///
/// ```
/// use heeltap::casting::sums::rounds::taped_by_round;
/// let rounds = [vec![1, 2], vec![1, 2], vec![1]];
/// assert_eq!(taped_by_round(&rounds, 2).unwrap(), [vec![1, 2], vec![], vec![1]]);
/// ```
pub fn taped_by_round(
    copies_by_round: &[Vec<u32>],
    casts_per_setup: u32,
) -> Result<Vec<Vec<u32>>, OutOfRange> {
    at_least_one("casts_per_setup", casts_per_setup)?;
    let mut casts = std::collections::BTreeMap::<u32, u32>::new();
    Ok(copies_by_round
        .iter()
        .map(|round| {
            round
                .iter()
                .copied()
                .filter(|copy| {
                    let seen = casts.entry(*copy).or_default();
                    *seen += 1;
                    (*seen - 1).is_multiple_of(casts_per_setup)
                })
                .collect()
        })
        .collect())
}

/// The round in which a copy (from 1) has its cast number `cast_no` (from 1) of this course of rounds; none when it has fewer.
///
/// ```
/// use heeltap::casting::sums::rounds::round_of_cast;
/// let rounds = [vec![1, 2, 3], vec![1, 2], vec![1, 3]];
/// assert_eq!((round_of_cast(&rounds, 3, 2), round_of_cast(&rounds, 3, 3)), (Some(3), None));
/// ```
#[must_use]
pub fn round_of_cast(copies_by_round: &[Vec<u32>], copy: u32, cast_no: u32) -> Option<u32> {
    (1..)
        .zip(copies_by_round)
        .filter(|(_, copies)| copies.contains(&copy))
        .map(|(round, _)| round)
        .nth((cast_no as usize).checked_sub(1)?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::casting::sums::batches::even_shares;

    #[test]
    fn more_trays_than_copies_are_no_round() {
        let error = copies_by_round(&[3], 2).unwrap_err().to_string();
        assert!(error.contains("at most the 2 copies"), "{error}");
        assert!(copies_by_round(&[1], 0).is_err());
    }

    proptest! {
        #[test]
        fn every_tray_has_a_copy(containers in 1_u32..60, copies in 1_u32..8) {
            let shares = even_shares(containers, containers.div_ceil(copies));
            let rounds = copies_by_round(&shares, copies).unwrap();
            let dealt: Vec<u32> = rounds.iter().map(|round| round.len() as u32).collect();
            prop_assert_eq!(&dealt, &shares);
            let per_copy: Vec<u32> = (1..=copies).map(|copy| rounds.iter().flatten().filter(|c| **c == copy).count() as u32).collect();
            prop_assert_eq!(&per_copy, &rounds_per_copy(containers, copies).unwrap());

            // A copy sits out one round at most, so that its casts are never more than a round behind.
            for (copy, casts) in (1..).zip(&per_copy) {
                for cast_no in 1..=*casts {
                    let round = round_of_cast(&rounds, copy, cast_no).unwrap();
                    prop_assert!(round == cast_no || round == cast_no + 1);
                }
                prop_assert_eq!(round_of_cast(&rounds, copy, casts + 1), None);
            }
        }

        #[test]
        fn every_copy_is_taped_as_often_as_is_counted(containers in 1_u32..60, copies in 1_u32..8, setup in 1_u32..6) {
            let shares = even_shares(containers, containers.div_ceil(copies));
            let rounds = copies_by_round(&shares, copies).unwrap();
            let taped: usize = taped_by_round(&rounds, setup).unwrap().iter().map(Vec::len).sum();
            let counted: u32 = rounds_per_copy(containers, copies).unwrap().into_iter().map(|casts| casts.div_ceil(setup)).sum();
            prop_assert_eq!(taped, counted as usize);
        }
    }
}
