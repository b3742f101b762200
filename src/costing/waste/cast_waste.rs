//! What of a cast's cost became no good chip.
//!
//! Residue, trim and overfill are waste whole; of the tape, the planned share of offcuts; of all the rest, the share of the
//! rejected chips (all of it when no chip was good). Invariants: nothing is counted twice, and the waste is never more
//! than the cost; whoever bears a part of a component bears that part of its waste, split by largest remainder, so
//! that the parts add up to the waste of the cast, to the millionth.

use super::category::{CATEGORIES, Category};
use super::tally::Amounts;
use crate::base::{Error, MICRO_PER_UNIT, Micro, Money, apportion};
use crate::casting::cost::{Component, Components};

/// What decides how much of a cast was wasted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CastFate {
    /// Good chips, 0 or more.
    pub good: i64,
    /// Rejected chips, 0 or more.
    pub rejected: i64,
    /// What batches cost that were mixed and thrown away; a part of the overfill.
    pub discarded: Money,
    /// The share of the tape that was cut off, 0 to 1.
    pub offcut_share: Micro,
}

/// The waste of a cast, for each of those who bear its cost: `parts` are their amounts by component.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money.
///
/// ```
/// use heeltap::base::{Micro, Money};
/// use heeltap::casting::cost::{Component, Components};
/// use heeltap::costing::waste::cast_waste::{CastFate, cast_waste};
/// use heeltap::costing::waste::category::Category;
/// let mut cost = Components::default();
/// cost.add(Component::Chip, Money::from_int(9))?;
/// cost.add(Component::Residue, Money::from_int(2))?;
/// cost.add(Component::Tape, Money::from_int(1))?;
/// let fate = CastFate { good: 15, rejected: 5, offcut_share: Micro::parse("0.2")?, ..CastFate::default() };
/// let waste = cast_waste(&[cost], &fate)?;
/// assert_eq!(waste[0].get(Category::Offcuts), Money::parse("0.2")?);
/// assert_eq!(waste[0].get(Category::Rejects), Money::parse("2.45")?); // (9 + 0.8) x 5/20
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn cast_waste(parts: &[Components], fate: &CastFate) -> Result<Vec<Amounts>, Error> {
    let of = |component: Component| -> Vec<i64> {
        parts
            .iter()
            .map(|part| part.get(component).micro())
            .collect()
    };
    let (tape, overfill) = (of(Component::Tape), of(Component::Overfill));
    let offcuts = split(share(sum(&tape)?, fate.offcut_share)?, &tape)?;
    let discarded = split(fate.discarded.micro().min(sum(&overfill)?), &overfill)?;
    let mut rest = Vec::with_capacity(parts.len());
    for (at, part) in parts.iter().enumerate() {
        let beside = [Component::Residue, Component::Trim, Component::Overfill];
        let beside = Money::checked_sum(beside.map(|component| part.get(component)))?;
        let wasted = beside.checked_add(Money::from_micro(offcuts[at]))?;
        rest.push(part.total()?.checked_sub(wasted)?.micro());
    }
    let rejects = split(rejected(sum(&rest)?, fate)?, &rest)?;
    let mut waste = Vec::with_capacity(parts.len());
    for (at, part) in parts.iter().enumerate() {
        let mut amounts = Amounts::default();
        amounts.add(Category::Residue, part.get(Component::Residue))?;
        amounts.add(Category::Trim, part.get(Component::Trim))?;
        amounts.add(
            Category::Overfill,
            Money::from_micro(overfill[at] - discarded[at]),
        )?;
        amounts.add(Category::Discarded, Money::from_micro(discarded[at]))?;
        amounts.add(Category::Offcuts, Money::from_micro(offcuts[at]))?;
        amounts.add(Category::Rejects, Money::from_micro(rejects[at]))?;
        waste.push(amounts);
    }
    Ok(waste)
}

/// What the rejected chips cost of the rest, which is 0 or more.
fn rejected(rest: i64, fate: &CastFate) -> Result<i64, Error> {
    match (fate.good, fate.good.saturating_add(fate.rejected)) {
        (0, _) => Ok(rest),
        (_, chips) => Ok(Money::from_micro(rest)
            .mul_div_half_even(fate.rejected, chips)?
            .micro()),
    }
}

fn share(micro: i64, share: Micro) -> Result<i64, Error> {
    let share = share.micro().clamp(0, MICRO_PER_UNIT);
    Ok(Money::from_micro(micro)
        .mul_div_half_even(share, MICRO_PER_UNIT)?
        .micro())
}

fn sum(parts: &[i64]) -> Result<i64, Error> {
    let parts = parts.iter().map(|part| Money::from_micro(*part));
    Ok(Money::checked_sum(parts)?.micro())
}

/// An amount over parts in proportion to what they are, never more than a part for a part; all 0 when they are.
fn split(amount: i64, parts: &[i64]) -> Result<Vec<i64>, Error> {
    if amount == 0 {
        return Ok(vec![0; parts.len()]);
    }
    apportion(amount, parts).map_err(Error::internal)
}

const _: () = assert!(CATEGORIES == Category::ALL.len());

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn components(amounts: &[i64; 10]) -> Components {
        let mut components = Components::default();
        for (component, amount) in Component::ALL.into_iter().zip(amounts) {
            components
                .add(component, Money::from_micro(*amount))
                .unwrap();
        }
        components
    }

    #[track_caller]
    fn check(fate: CastFate, expected: [i64; 6]) {
        // chip, trim, overfill, residue, release, tape, container, cup, mold, sundries
        let cost = components(&[100, 20, 30, 7, 10, 40, 5, 5, 10, 30]);
        let waste = cast_waste(&[cost], &fate).unwrap();
        let found = [0, 1, 2, 3, 4, 5].map(|at| waste[0].get(Category::ALL[at]).micro());
        assert_eq!(found, expected);
    }

    #[test]
    fn each_chip_bears_its_share_of_what_is_left() {
        let quarter = Micro::parse("0.25").unwrap();
        let fate = CastFate {
            good: 9,
            rejected: 1,
            discarded: Money::from_micro(12),
            offcut_share: quarter,
        };
        // The rest: 100 + 10 + (40 - 10) + 5 + 5 + 10 + 30 = 190.
        check(fate, [7, 20, 18, 12, 10, 19]);
        check(CastFate { good: 0, ..fate }, [7, 20, 18, 12, 10, 190]);
        let none = CastFate {
            good: 5,
            ..CastFate::default()
        };
        check(none, [7, 20, 30, 0, 0, 0]);
    }

    proptest! {
        #[test]
        fn payers_share_the_waste_and_it_is_never_more_than_the_cost(
            parts in prop::collection::vec(prop::array::uniform10(0_i64..50_000_000), 1..5),
            (good, rejected) in (0_i64..40, 0_i64..40),
            discarded in 0_i64..20_000_000,
            offcut in 0_i64..=1_000_000,
        ) {
            let parts: Vec<Components> = parts.iter().map(components).collect();
            let fate = CastFate {
                good, rejected, discarded: Money::from_micro(discarded), offcut_share: Micro::from_micro(offcut),
            };
            let waste = cast_waste(&parts, &fate).map_err(|e| TestCaseError::fail(e.to_string()))?;
            let mut all = Components::default();
            for part in &parts {
                for (component, amount) in part.iter() {
                    all.add(component, amount).unwrap();
                }
            }
            let whole = &cast_waste(&[all], &fate).unwrap()[0];
            for category in Category::ALL {
                let sum: i64 = waste.iter().map(|amounts| amounts.get(category).micro()).sum();
                prop_assert_eq!(sum, whole.get(category).micro());
            }
            for (amounts, part) in waste.iter().zip(&parts) {
                prop_assert!(amounts.total().unwrap() <= part.total().unwrap());
                prop_assert!(Category::ALL.iter().all(|category| amounts.get(*category) >= Money::ZERO));
            }
        }
    }
}
