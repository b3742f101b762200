//! Who bears a correction of a lot's price.
//!
//! Invariant: the shares add up to the correction, by largest remainder; no share is larger than what its bearer had taken
//! as long as the correction is not larger than the lot.

use std::collections::{BTreeMap, HashMap};

use crate::base::{Error, Money, Quantity, apportion};

/// Who bears a share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bearer {
    /// What is left of the lot.
    Stock,
    /// A cast.
    Cast(i64),
    /// Coats that are still on moulds.
    Coats,
    /// What had been lost.
    Waste,
}

/// Where something of a lot went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WentTo {
    /// To a cast.
    Cast(i64),
    /// To a treatment, whose coats casts draw on.
    Treatment(i64),
    /// It was lost.
    Loss,
}

/// What went somewhere, 0 or more unless a count found it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Went {
    /// Where.
    pub to: WentTo,
    /// How much.
    pub quantity: Quantity,
    /// What it was worth.
    pub value: Money,
}

/// What became of a lot.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LotFate {
    /// What is left.
    pub quantity: Quantity,
    /// What that is worth.
    pub value: Money,
    /// What went where.
    pub went: Vec<Went>,
    /// What corrections before this one laid on bearers other than the stock.
    pub corrected: Vec<(Bearer, Money)>,
}

/// What became of the coats of a treatment: what each cast drew, what was given up unused, and what is left.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CoatFate {
    /// Casts and what they drew.
    pub drawn: Vec<(i64, Money)>,
    /// Given up.
    pub wasted: Money,
    /// Left.
    pub left: Money,
}

/// Splits a correction of a lot over its bearers; those that bear nothing are left out.
///
/// In proportion to value; where nothing of the lot has any, in proportion to quantity.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money.
///
/// ```
/// use heeltap::base::{Money, Quantity};
/// use heeltap::costing::corrections::bearers::{Bearer, LotFate, Went, WentTo, bearers};
/// let went = |to, value| Went { to, quantity: Quantity::from_int(1), value: Money::from_int(value) };
/// let lot = LotFate {
///     quantity: Quantity::from_int(500), value: Money::from_int(50),
///     went: vec![went(WentTo::Cast(7), 40), went(WentTo::Loss, 10)],
///     ..LotFate::default()
/// };
/// let shares = bearers(Money::from_int(-20), &lot, &Default::default())?;
/// assert_eq!(shares, [
///     (Bearer::Stock, Money::from_int(-10)), (Bearer::Cast(7), Money::from_int(-8)), (Bearer::Waste, Money::from_int(-2)),
/// ]);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn bearers(
    correction: Money,
    lot: &LotFate,
    coats: &HashMap<i64, CoatFate>,
) -> Result<Vec<(Bearer, Money)>, Error> {
    let mut by_value = weights(lot.value.micro(), &lot.went, coats, |went| {
        went.value.micro()
    })?;
    for (bearer, amount) in &lot.corrected {
        add(&mut by_value, *bearer, amount.micro());
    }
    let by_value = positive(by_value);
    let weighted = if by_value.is_empty() {
        let quantity = |went: &Went| went.quantity.micro();
        positive(weights(lot.quantity.micro(), &lot.went, coats, quantity)?)
    } else {
        by_value
    };
    if weighted.is_empty() {
        return Ok(vec![(Bearer::Waste, correction)]);
    }
    let base: Vec<i64> = weighted.iter().map(|(_, weight)| *weight).collect();
    let shares = apportion(correction.micro(), &base).map_err(Error::internal)?;
    Ok(weighted
        .into_iter()
        .zip(shares)
        .map(|((bearer, _), share)| (bearer, Money::from_micro(share)))
        .filter(|(_, share)| !share.is_zero())
        .collect())
}

type Weights = BTreeMap<Bearer, i64>;

fn add(weights: &mut Weights, bearer: Bearer, amount: i64) {
    let sum = weights.entry(bearer).or_default();
    *sum = sum.saturating_add(amount);
}

fn positive(weights: Weights) -> Vec<(Bearer, i64)> {
    weights
        .into_iter()
        .filter(|(_, weight)| *weight > 0)
        .collect()
}

fn weights(
    left: i64,
    went: &[Went],
    coats: &HashMap<i64, CoatFate>,
    of: impl Fn(&Went) -> i64,
) -> Result<Weights, Error> {
    let mut weights = Weights::new();
    add(&mut weights, Bearer::Stock, left);
    for went in went {
        match went.to {
            WentTo::Cast(id) => add(&mut weights, Bearer::Cast(id), of(went)),
            WentTo::Loss => add(&mut weights, Bearer::Waste, of(went)),
            WentTo::Treatment(id) => {
                for (bearer, part) in on_coats(of(went), coats.get(&id))? {
                    add(&mut weights, bearer, part);
                }
            }
        }
    }
    Ok(weights)
}

/// What went into a treatment, over those who had of its coats.
fn on_coats(amount: i64, coats: Option<&CoatFate>) -> Result<Vec<(Bearer, i64)>, Error> {
    let whole = vec![(Bearer::Coats, amount)];
    let Some(coats) = coats else { return Ok(whole) };
    let drawn = coats
        .drawn
        .iter()
        .map(|(id, value)| (Bearer::Cast(*id), value.micro()));
    let rest = [
        (Bearer::Waste, coats.wasted.micro()),
        (Bearer::Coats, coats.left.micro()),
    ];
    let parts: Vec<(Bearer, i64)> = drawn.chain(rest).filter(|(_, value)| *value > 0).collect();
    if parts.is_empty() {
        return Ok(whole);
    }
    let base: Vec<i64> = parts.iter().map(|(_, value)| *value).collect();
    let shares = apportion(amount, &base).map_err(Error::internal)?;
    Ok(parts
        .into_iter()
        .map(|(bearer, _)| bearer)
        .zip(shares)
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn went(to: WentTo, quantity: i64, value: i64) -> Went {
        Went {
            to,
            quantity: Quantity::from_micro(quantity),
            value: Money::from_micro(value),
        }
    }

    #[track_caller]
    fn check(
        correction: i64,
        lot: &LotFate,
        coats: &[(i64, CoatFate)],
        expected: &[(Bearer, i64)],
    ) {
        let coats = coats.iter().cloned().collect();
        let shares = bearers(Money::from_micro(correction), lot, &coats).unwrap();
        let found: Vec<(Bearer, i64)> = shares
            .iter()
            .map(|(b, share)| (*b, share.micro()))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn a_vial_reaches_casts_by_its_coats() {
        let lot = LotFate {
            value: Money::from_micro(100),
            went: vec![
                went(WentTo::Treatment(3), 1, 60),
                went(WentTo::Treatment(4), 1, 40),
            ],
            ..LotFate::default()
        };
        let coats = CoatFate {
            drawn: vec![(7, Money::from_micro(20)), (8, Money::from_micro(10))],
            wasted: Money::from_micro(10),
            left: Money::from_micro(20),
        };
        // Treatment 4 is not known to have any coat: what went there is on coats still.
        let expected = [
            (Bearer::Stock, 10),
            (Bearer::Cast(7), 2),
            (Bearer::Cast(8), 1),
            (Bearer::Coats, 6),
            (Bearer::Waste, 1),
        ];
        check(20, &lot, &[(3, coats)], &expected);
    }

    #[test]
    fn a_free_lot_is_charged_by_quantity_and_a_vanished_one_is_waste() {
        let lot = LotFate {
            quantity: Quantity::from_micro(3),
            went: vec![went(WentTo::Cast(1), 1, 0)],
            ..LotFate::default()
        };
        check(8, &lot, &[], &[(Bearer::Stock, 6), (Bearer::Cast(1), 2)]);
        check(8, &LotFate::default(), &[], &[(Bearer::Waste, 8)]);
    }

    #[test]
    fn corrections_before_it_count_as_value_taken() {
        let lot = LotFate {
            value: Money::from_micro(60),
            went: vec![went(WentTo::Cast(1), 1, 40)],
            corrected: vec![(Bearer::Cast(1), Money::from_micro(-40))],
            ..LotFate::default()
        };
        check(-6, &lot, &[], &[(Bearer::Stock, -6)]);
    }

    proptest! {
        #[test]
        fn shares_add_up_and_no_bearer_gives_more_than_it_took(
            left in 0_i64..1_000_000,
            took in prop::collection::vec((1_i64..5, 0_i64..1_000_000), 0..8),
            credit in 0.0_f64..=1.0,
        ) {
            let lot = LotFate {
                quantity: Quantity::from_micro(left),
                value: Money::from_micro(left),
                went: took.iter().map(|(id, value)| went(WentTo::Cast(*id), *value, *value)).collect(),
                ..LotFate::default()
            };
            let landed = left + took.iter().map(|(_, value)| value).sum::<i64>();
            let credit = -((landed as f64 * credit) as i64);
            let shares = bearers(Money::from_micro(credit), &lot, &HashMap::new()).unwrap();
            prop_assert_eq!(shares.iter().map(|(_, share)| share.micro()).sum::<i64>(), credit);
            for (bearer, share) in shares {
                let had = match bearer {
                    Bearer::Stock => left,
                    Bearer::Cast(id) => took.iter().filter(|(of, _)| *of == id).map(|(_, value)| value).sum(),
                    _ => 0,
                };
                prop_assert!(-share.micro() <= had);
            }
        }
    }
}
