//! The coats of a mould's copies over one cast: which coat each round draws on, and when a copy is coated anew.
//!
//! A coat is a cost pool of its copy alone: the share of the vials that went into it, over the casts it lasts.
//! Invariants: each round of a copy draws on the coat it has at that moment; a coat that is renewed before it is used up
//! sends its rest to waste; casts beyond a coat's life, and casts on a bare copy, draw nothing. Deliberately absent:
//! the vials (stock), and which copies are due ([`release`](super::release)).

use super::pool::PoolState;
use super::release::{CopyUse, ReleaseNeed};
use crate::base::{Error, Money, apportion};

/// One thing that happens to a coat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoatStep {
    /// The copy's present coat gives up the share of some uses.
    Draw {
        /// The copy, from 1.
        copy: u32,
        /// Uses that carry value.
        uses: i64,
        /// Their share.
        value: Money,
    },
    /// The copy is coated anew.
    Coat {
        /// The copy, from 1.
        copy: u32,
        /// The load, from 0 in the order of the need.
        load: usize,
        /// Its share of the load's vials.
        value: Money,
        /// Casts it lasts.
        uses: i64,
        /// What the coat before it had left, which is wasted.
        wasted: PoolState,
    },
}

/// The coat of a copy: none where the copy is bare.
pub type Coat = Option<PoolState>;

/// What the sums of the release agent know of the copies: casts seen on each coat, and the rounds asked of it.
///
/// `rounds` has one entry per copy; a copy without an entry in `coats` is bare.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::sums::coats::copy_uses;
/// use heeltap::casting::sums::pool::PoolState;
/// let coat = PoolState { value: Money::from_int(3), uses: 2 };
/// let uses = copy_uses(&[Some(coat)], &[4, 4], 5);
/// assert_eq!((uses[0].casts_on_coat, uses[1].casts_on_coat), (Some(3), None));
/// ```
#[must_use]
pub fn copy_uses(coats: &[Coat], rounds: &[u32], coat_life_casts: u32) -> Vec<CopyUse> {
    let seen = |coat: PoolState| {
        let left = u32::try_from(coat.uses.max(0)).unwrap_or(u32::MAX);
        coat_life_casts - left.min(coat_life_casts)
    };
    rounds
        .iter()
        .enumerate()
        .map(|(copy, &rounds)| CopyUse {
            casts_on_coat: coats.get(copy).copied().flatten().map(seen),
            rounds,
        })
        .collect()
}

/// Takes a cast's `rounds` per copy through the coats, with the coatings of `need`, and says what happens in order.
///
/// `load_values` is what the vials of each load of `need` cost; a load's copies share it by largest remainder. `coats`
/// has one entry per copy and is left as it stands after the cast.
///
/// # Errors
/// [`Error::Internal`] when a load names a copy or a value that is not there.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::sums::coats::{CoatStep, coat_steps, copy_uses};
/// use heeltap::casting::sums::pool::PoolState;
/// use heeltap::casting::sums::release::release_need;
/// let mut coats = vec![Some(PoolState { value: Money::from_int(2), uses: 1 })];
/// let need = release_need(&copy_uses(&coats, &[3], 5), 5, 1).unwrap();
/// let steps = coat_steps(&mut coats, &[3], &need, &[Money::from_int(10)], 5).unwrap();
/// // One round on the old coat (2), then a new one (10) of which two casts take 2 each.
/// assert_eq!(steps.len(), 3);
/// assert_eq!(coats[0], Some(PoolState { value: Money::from_int(6), uses: 3 }));
/// ```
pub fn coat_steps(
    coats: &mut [Coat],
    rounds: &[u32],
    need: &ReleaseNeed,
    load_values: &[Money],
    coat_life_casts: u32,
) -> Result<Vec<CoatStep>, Error> {
    let missing = || Error::internal("a coating names a copy or a value that is not there");
    let mut steps = Vec::new();
    let mut cast = vec![0_u32; rounds.len()];
    for (load_no, load) in need.loads.iter().enumerate() {
        let value = load_values.get(load_no).ok_or_else(missing)?;
        let shares = apportion(value.micro(), &vec![1; load.copies.len()])?;
        for (&copy, share) in load.copies.iter().zip(shares) {
            let at = (copy as usize).checked_sub(1).ok_or_else(missing)?;
            let (coat, done) = coats
                .get_mut(at)
                .zip(cast.get_mut(at))
                .ok_or_else(missing)?;
            draw(coat, copy, load.before_round - 1 - *done, &mut steps)?;
            *done = load.before_round - 1;
            let (value, uses) = (Money::from_micro(share), i64::from(coat_life_casts));
            let wasted = coat.replace(PoolState { value, uses }).unwrap_or_default();
            steps.push(CoatStep::Coat {
                copy,
                load: load_no,
                value,
                uses,
                wasted,
            });
        }
    }
    for ((copy, coat), (&rounds, done)) in (1..).zip(coats).zip(rounds.iter().zip(cast)) {
        draw(coat, copy, rounds.saturating_sub(done), &mut steps)?;
    }
    Ok(steps)
}

fn draw(coat: &mut Coat, copy: u32, rounds: u32, steps: &mut Vec<CoatStep>) -> Result<(), Error> {
    let Some(pool) = coat else { return Ok(()) };
    let given = pool.issue(i64::from(rounds))?;
    if given.uses > 0 {
        steps.push(CoatStep::Draw {
            copy,
            uses: given.uses,
            value: given.value,
        });
    }
    Ok(())
}

/// What a cast's coats cost it: the sum of what it draws.
///
/// # Errors
/// [`Error::Invalid`] when the sum leaves the range of money.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::sums::coats::{CoatStep, drawn};
/// let step = CoatStep::Draw { copy: 1, uses: 2, value: Money::from_int(4) };
/// assert_eq!(drawn(&[step, step]).unwrap(), Money::from_int(8));
/// ```
pub fn drawn(steps: &[CoatStep]) -> Result<Money, Error> {
    let values = steps.iter().filter_map(|step| match step {
        CoatStep::Draw { value, .. } => Some(*value),
        CoatStep::Coat { .. } => None,
    });
    Ok(Money::checked_sum(values)?)
}

/// The value of each load when its vials are worth `vials_value` together: by the number of vials, largest remainder.
///
/// # Errors
/// [`Error::Internal`] when the value cannot be apportioned.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::sums::coats::load_values;
/// use heeltap::casting::sums::release::{CopyUse, release_need};
/// let bare = CopyUse { casts_on_coat: None, rounds: 3 };
/// let need = release_need(&[bare, bare, bare], 2, 2).unwrap();
/// assert_eq!(load_values(&need, Money::from_int(8)).unwrap(), [Money::from_int(4), Money::from_int(4)]);
/// ```
pub fn load_values(need: &ReleaseNeed, vials_value: Money) -> Result<Vec<Money>, Error> {
    if need.loads.is_empty() {
        return Ok(Vec::new());
    }
    let vials: Vec<i64> = need
        .loads
        .iter()
        .map(|load| i64::from(load.vials))
        .collect();
    let shares = apportion(vials_value.micro(), &vials)?;
    Ok(shares.into_iter().map(Money::from_micro).collect())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::release::{release_need, rounds_per_copy};
    use super::*;

    fn pool(value: i64, uses: i64) -> Coat {
        Some(PoolState {
            value: Money::from_micro(value),
            uses,
        })
    }

    /// Input: coats, trays, life, value of a vial (one mould each). Expected: the steps.
    #[track_caller]
    fn check(input: (&[Coat], u32, u32, i64), expected: &str) {
        let mut coats = input.0.to_vec();
        let rounds = rounds_per_copy(input.1, coats.len() as u32).unwrap();
        let need = release_need(&copy_uses(&coats, &rounds, input.2), input.2, 1).unwrap();
        let values =
            load_values(&need, Money::from_micro(input.3 * i64::from(need.vials))).unwrap();
        let steps = coat_steps(&mut coats, &rounds, &need, &values, input.2).unwrap();
        let shown: Vec<String> = steps
            .iter()
            .map(|step| match step {
                CoatStep::Draw { copy, uses, value } => {
                    format!("{copy}-{uses}({})", value.micro())
                }
                CoatStep::Coat {
                    copy,
                    value,
                    wasted,
                    ..
                } => {
                    format!("{copy}+{}~{}", value.micro(), wasted.value.micro())
                }
            })
            .collect();
        assert_eq!(shown.join(" "), expected);
    }

    #[test]
    fn each_round_draws_on_the_coat_of_its_moment() {
        check((&[None], 2, 4, 12), "1+12~0 1-2(6)");
        check((&[pool(12, 4)], 2, 4, 12), "1-2(6)");
        check((&[pool(3, 1)], 2, 4, 12), "1-1(3) 1+12~0 1-1(3)");
        check(
            (&[pool(0, 0), pool(9, 3)], 4, 4, 12),
            "1+12~0 1-2(6) 2-2(6)",
        );
        check(
            (&[None, None], 3, 1, 5),
            "1+5~0 2+5~0 1-1(5) 1+5~0 1-1(5) 2-1(5)",
        );
    }

    #[test]
    fn a_copy_beyond_those_kept_is_bare() {
        assert_eq!(copy_uses(&[], &[1, 1], 4)[1].casts_on_coat, None);
        // A coat rated for more casts than its mould is now said to last counts as new.
        assert_eq!(copy_uses(&[pool(9, 9)], &[1], 4)[0].casts_on_coat, Some(0));
    }

    proptest! {
        #[test]
        fn what_goes_into_coats_is_drawn_wasted_or_left(
            had in prop::collection::vec(prop::option::of((0_i64..1_000_000, 1_i64..8)), 1..5),
            trays in 1_u32..40, life in 1_u32..8, vial in 0_i64..10_000_000, per_vial in 1_u32..4,
        ) {
            let mut coats: Vec<Coat> = had
                .into_iter()
                .map(|coat| coat.and_then(|(value, uses)| pool(value, uses)))
                .collect();
            let before: i64 = coats.iter().flatten().map(|coat| coat.value.micro()).sum();
            let rounds = rounds_per_copy(trays, coats.len() as u32).unwrap();
            let need = release_need(&copy_uses(&coats, &rounds, life), life, per_vial).unwrap();
            let vials = Money::from_micro(vial * i64::from(need.vials));
            let steps = coat_steps(&mut coats, &rounds, &need, &load_values(&need, vials).unwrap(), life).unwrap();
            let wasted: i64 = steps.iter().map(|step| match step {
                CoatStep::Coat { wasted, .. } => wasted.value.micro(),
                CoatStep::Draw { .. } => 0,
            }).sum();
            let after: i64 = coats.iter().flatten().map(|coat| coat.value.micro()).sum();
            prop_assert_eq!(before + vials.micro(), drawn(&steps).unwrap().micro() + wasted + after);
        }
    }
}
