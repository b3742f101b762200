//! The difference between a planned and an actual cost, split into quantity and price; the share of what was rejected. Pure.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Error, Micro, Money, Quantity, Unit};

/// A quantity behind a component: as planned, and as it came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Used {
    /// The unit of both.
    pub unit: Unit,
    /// As planned.
    pub planned: Quantity,
    /// As it came.
    pub actual: Quantity,
    /// Whether the plan had a price for it: false where it found no stock.
    pub priced: bool,
}

/// A difference of cost, split where it can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Split {
    /// Actual less planned.
    pub difference: Money,
    /// Of it, what the other quantity makes at the planned price.
    pub by_quantity: Option<Money>,
    /// Of it, the rest: what was used was worth more or less than planned.
    pub by_price: Option<Money>,
}

/// Splits the difference between two costs of a component.
///
/// By quantity: (actual - planned quantity) x planned cost / planned quantity, rounded once, half to even; by price: the
/// rest, so that both add up to the difference. Without a quantity, without one planned, or without a price in the plan,
/// there is only the difference.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves the range of money.
///
/// ```
/// use heeltap::base::{Money, Quantity, Unit};
/// use heeltap::casting::variance::split::{Used, split};
/// let used = Used { unit: Unit::G, planned: Quantity::from_int(18), actual: Quantity::from_int(21), priced: true };
/// let found = split(Money::parse("1.8")?, Money::parse("2.2")?, Some(&used))?;
/// assert_eq!(found.difference, Money::parse("0.4")?);
/// assert_eq!(found.by_quantity, Some(Money::parse("0.3")?)); // 3 g at 0.1 a gram.
/// assert_eq!(found.by_price, Some(Money::parse("0.1")?));
/// assert_eq!(split(Money::parse("1.8")?, Money::parse("2.2")?, None)?.by_quantity, None);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn split(planned: Money, actual: Money, used: Option<&Used>) -> Result<Split, Error> {
    let difference = actual.checked_sub(planned)?;
    let comparable = |used: &&Used| used.priced && used.planned.is_positive();
    let Some(used) = used.filter(comparable) else {
        return Ok(Split {
            difference,
            by_quantity: None,
            by_price: None,
        });
    };
    let more = used.actual.checked_sub(used.planned)?;
    let by_quantity = planned.mul_div_half_even(more.micro(), used.planned.micro())?;
    Ok(Split {
        difference,
        by_quantity: Some(by_quantity),
        by_price: Some(difference.checked_sub(by_quantity)?),
    })
}

/// The chips of a cast that were rejected, and what they cost.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CastRejects {
    /// Rejected chips.
    pub chips: i64,
    /// Their share of the chips counted, 0 to 1, rounded to the millionth; absent when no chip was counted at all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share: Option<Micro>,
    /// What they cost, in the base currency: the total x rejected / counted, rounded once, half to even; all of it when no
    /// chip is good.
    pub amount: Money,
}

/// What the rejected chips of a cast cost, which cost `total` and gave `good` and `rejected` chips.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::variance::split::rejects;
/// let found = rejects(Money::from_int(10), 7, 1)?;
/// assert_eq!((found.share.unwrap().to_string(), found.amount.to_string()), ("0.125".to_owned(), "1.25".to_owned()));
/// // Nothing was counted: all of it is the cost of the scrap, and nothing is divided.
/// let scrap = rejects(Money::from_int(10), 0, 0)?;
/// assert_eq!((scrap.share, scrap.amount), (None, Money::from_int(10)));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn rejects(total: Money, good: i64, rejected: i64) -> Result<CastRejects, Error> {
    let counted = good.saturating_add(rejected);
    if counted <= 0 {
        return Ok(CastRejects {
            chips: rejected,
            share: None,
            amount: total,
        });
    }
    Ok(CastRejects {
        chips: rejected,
        share: Some(Micro::from_int(1).mul_div_half_even(rejected, counted)?),
        amount: total.mul_div_half_even(rejected, counted)?,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn used(planned: i64, actual: i64) -> Used {
        Used {
            unit: Unit::G,
            planned: Quantity::from_micro(planned),
            actual: Quantity::from_micro(actual),
            priced: true,
        }
    }

    /// Costs and quantities in millionths; expected: by quantity and by price.
    #[track_caller]
    fn check(costs: (i64, i64), quantities: (i64, i64), expected: Option<(i64, i64)>) {
        let used = used(quantities.0, quantities.1);
        let (planned, actual) = (Money::from_micro(costs.0), Money::from_micro(costs.1));
        let found = split(planned, actual, Some(&used)).unwrap();
        assert_eq!(found.difference.micro(), costs.1 - costs.0);
        let by = found.by_quantity.zip(found.by_price);
        assert_eq!(by.map(|(q, p)| (q.micro(), p.micro())), expected);
    }

    #[test]
    fn by_hand() {
        // 18 g for 1.8, then 21.2 g for 2.12: all of it is the quantity.
        check(
            (1_800_000, 2_120_000),
            (18_000_000, 21_200_000),
            Some((320_000, 0)),
        );
        // The same quantity at another price.
        check(
            (1_800_000, 1_700_000),
            (18_000_000, 18_000_000),
            Some((0, -100_000)),
        );
        // Half of it at twice the price: each takes back the other.
        check((1_000_000, 1_000_000), (2, 1), Some((-500_000, 500_000)));
        // A tie goes to the even neighbour: 5 x 1/2 is 2, and 7 x 1/2 is 4.
        check((5, 5), (2, 3), Some((2, -2)));
        check((7, 7), (2, 3), Some((4, -4)));
        check((5, 5), (2, 1), Some((-2, 2)));
        // What cost nothing and was planned has no price to make a difference by quantity.
        check((0, 30), (2, 3), Some((0, 30)));
        // Nothing was planned.
        check((0, 30), (0, 3), None);
        check((0, 0), (0, 0), None);
        // All of it was left out.
        check((30, 0), (3, 0), Some((-30, 0)));
    }

    #[test]
    fn without_a_price_in_the_plan_nothing_is_split() {
        let mut used = used(2, 3);
        used.priced = false;
        let found = split(Money::from_int(1), Money::from_int(3), Some(&used)).unwrap();
        assert_eq!((found.by_quantity, found.by_price), (None, None));
        assert_eq!(found.difference, Money::from_int(2));
    }

    #[test]
    fn rejected_chips() {
        let check = |total: i64, good: i64, rejected: i64, share: Option<i64>, amount: i64| {
            let found = rejects(Money::from_micro(total), good, rejected).unwrap();
            let shown = (found.share.map(Micro::micro), found.amount.micro());
            assert_eq!(shown, (share, amount), "{good} good, {rejected} rejected");
            assert_eq!(found.chips, rejected);
        };
        check(25_633_523, 21, 3, Some(125_000), 3_204_190);
        check(10, 3, 0, Some(0), 0);
        // A tie goes to the even neighbour.
        check(5, 1, 1, Some(500_000), 2);
        check(7, 1, 1, Some(500_000), 4);
        check(7, 0, 4, Some(1_000_000), 7);
        check(7, 0, 0, None, 7);
    }

    proptest! {
        #[test]
        fn quantity_and_price_add_up_to_the_difference(
            planned in 0_i64..1_000_000_000_000_000, actual in 0_i64..1_000_000_000_000_000,
            quantities in (0_i64..1_000_000_000_000, 0_i64..1_000_000_000_000), priced: bool,
        ) {
            let used = Used { priced, ..used(quantities.0, quantities.1) };
            // What is out of range is an error, never a panic.
            if let Ok(found) = split(Money::from_micro(planned), Money::from_micro(actual), Some(&used)) {
                prop_assert_eq!(found.difference.micro(), actual - planned);
                match found.by_quantity.zip(found.by_price) {
                    Some((quantity, price)) => {
                        prop_assert_eq!(quantity.micro() + price.micro(), actual - planned);
                        let exact = i128::from(planned) * i128::from(quantities.1 - quantities.0);
                        let off = exact - i128::from(quantity.micro()) * i128::from(quantities.0);
                        prop_assert!(2 * off.abs() <= i128::from(quantities.0));
                    }
                    None => prop_assert!(!priced || quantities.0 == 0),
                }
            }
        }

        #[test]
        fn any_figures_are_borne(planned: i64, actual: i64, quantities: (i64, i64), good in 0_i64.., rejected in 0_i64..) {
            let used = used(quantities.0, quantities.1);
            let _ = split(Money::from_micro(planned), Money::from_micro(actual), Some(&used));
            if let Ok(found) = rejects(Money::from_micro(planned.saturating_abs()), good, rejected) {
                prop_assert!(found.amount.micro() <= planned.saturating_abs());
            }
        }
    }
}
