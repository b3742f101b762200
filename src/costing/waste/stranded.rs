//! Parts of kits that are left without their partner: what of a base cannot be mixed for want of curing agent, or the
//! other way round.
//!
//! Invariant: of each kit lot at most one part is stranded. Deliberately absent: what would use it up (the reorder room
//! advises).

use serde::Serialize;
use utoipa::ToSchema;

use crate::base::{Code, Error, Micro, Money, Quantity};

/// What is on hand of the two parts of one kit lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct OnHand {
    /// In g, 0 or more.
    pub quantity: Quantity,
    /// What that is worth.
    pub value: Money,
}

/// Which part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum KitPart {
    /// The base.
    Base,
    /// The curing agent.
    CuringAgent,
}

/// A part without its partner, on the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StrandedPart {
    /// The elastomer's code.
    pub elastomer: Code,
    /// The code that both parts of the kit share; absent for lots without one, which are taken together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kit_lot: Option<String>,
    /// Which part is left over.
    pub part: KitPart,
    /// Its material's code.
    pub material: Code,
    /// How much of it has no partner, in g.
    pub quantity: Quantity,
    /// What that is worth.
    pub value: Money,
}

/// What of a kit lot is stranded at a mass ratio `base : agent`, both above 0: which part, how much, and its value.
///
/// # Errors
/// [`Error::Invalid`] when a value leaves the range of money.
///
/// ```
/// use heeltap::base::{Micro, Money, Quantity};
/// use heeltap::costing::waste::stranded::{KitPart, OnHand, stranded};
/// let on_hand = |g: i32, value: i32| OnHand { quantity: Quantity::from_int(g), value: Money::from_int(value) };
/// let ratio = (Micro::from_int(10), Micro::from_int(1));
/// let left = stranded(on_hand(600, 60), on_hand(50, 10), ratio)?;
/// assert_eq!(left, Some((KitPart::Base, on_hand(100, 10))));
/// assert_eq!(stranded(on_hand(500, 60), on_hand(50, 10), ratio)?, None);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn stranded(
    base: OnHand,
    agent: OnHand,
    (base_ratio, agent_ratio): (Micro, Micro),
) -> Result<Option<(KitPart, OnHand)>, Error> {
    let product = |on_hand: OnHand, ratio: Micro| {
        i128::from(on_hand.quantity.micro()) * i128::from(ratio.micro())
    };
    // base x agent_ratio against agent x base_ratio: what is more on the one side is left over.
    let over = product(base, agent_ratio) - product(agent, base_ratio);
    let (part, on_hand, ratio) = match over {
        0 => return Ok(None),
        1.. => (KitPart::Base, base, agent_ratio),
        _ => (KitPart::CuringAgent, agent, base_ratio),
    };
    let quantity = i64::try_from(over.unsigned_abs() / ratio.micro().unsigned_abs() as u128)
        .map_err(|_| crate::base::MicroError::Overflow)?;
    if quantity == 0 {
        return Ok(None);
    }
    let value = on_hand
        .value
        .mul_div_half_even(quantity, on_hand.quantity.micro())?;
    let left = OnHand {
        quantity: Quantity::from_micro(quantity),
        value,
    };
    Ok(Some((part, left)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_is_not_stranded_is_in_the_ratio(
            base in 0_i64..10_000_000_000, agent in 0_i64..1_000_000_000,
            (rb, ra) in (1_i64..20_000_000, 1_i64..20_000_000),
        ) {
            let on_hand = |micro: i64| OnHand { quantity: Quantity::from_micro(micro), value: Money::from_micro(micro) };
            let ratio = (Micro::from_micro(rb), Micro::from_micro(ra));
            let (mut b, mut a) = (i128::from(base), i128::from(agent));
            match stranded(on_hand(base), on_hand(agent), ratio).unwrap() {
                Some((KitPart::Base, left)) => b -= i128::from(left.quantity.micro()),
                Some((KitPart::CuringAgent, left)) => a -= i128::from(left.quantity.micro()),
                None => {}
            }
            prop_assert!(b >= 0 && a >= 0);
            // Within one millionth of a gram of the part that was cut.
            let off = (b * i128::from(ra) - a * i128::from(rb)).abs();
            prop_assert!(off < i128::from(ra.max(rb)));
        }
    }
}
