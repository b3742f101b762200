//! Cost pools: a mould's cost over its rated casts, and a coat's over the casts it lasts.
//!
//! Invariant: a use gives up remaining value / remaining uses, half to even, the last use taking all; uses beyond the
//! rated ones cost nothing. So what was put in equals what was given up and what remains.

use crate::base::{Error, Money, round_half_even_div};

/// Where a pool stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PoolState {
    /// What is left of its value.
    pub value: Money,
    /// Uses left.
    pub uses: i64,
}

/// What a pool gave up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Given {
    /// Its value.
    pub value: Money,
    /// The uses that carried value; fewer than asked when the pool ran out.
    pub uses: i64,
}

impl PoolState {
    /// Puts value and uses in.
    ///
    /// # Errors
    /// [`Error::Invalid`] when the value leaves the range of money.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::casting::sums::pool::PoolState;
    /// let mut pool = PoolState { value: Money::from_int(10), uses: 3 };
    /// pool.fill(Money::from_int(5), 2).unwrap();
    /// assert_eq!(pool, PoolState { value: Money::from_int(15), uses: 5 });
    /// ```
    pub fn fill(&mut self, value: Money, uses: i64) -> Result<(), Error> {
        self.value = self.value.checked_add(value)?;
        self.uses = self.uses.saturating_add(uses);
        Ok(())
    }

    /// Gives up the share of `uses` more uses.
    ///
    /// # Errors
    /// [`Error::Internal`] when the share cannot be computed.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// use heeltap::casting::sums::pool::PoolState;
    /// let mut pool = PoolState { value: Money::from_int(10), uses: 3 };
    /// assert_eq!(pool.issue(1).unwrap().value.to_string(), "3.333333");
    /// assert_eq!(pool.issue(5).unwrap().value.to_string(), "6.666667");
    /// assert_eq!(pool.issue(1).unwrap().uses, 0);
    /// ```
    pub fn issue(&mut self, uses: i64) -> Result<Given, Error> {
        let taken = uses.min(self.uses);
        if taken <= 0 {
            return Ok(Given::default());
        }
        let share = i128::from(self.value.micro()) * i128::from(taken);
        let value = round_half_even_div(share, i128::from(self.uses))
            .and_then(|micro| i64::try_from(micro).ok())
            .map(Money::from_micro)
            .ok_or_else(|| Error::internal("a pool's share cannot be computed"))?;
        self.value = self.value.checked_sub(value)?;
        self.uses -= taken;
        Ok(Given { value, uses: taken })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_goes_in_comes_out(value in 0_i64..1_000_000_000_000, uses in 1_i64..200, takes in prop::collection::vec(1_i64..20, 1..60)) {
            let mut pool = PoolState { value: Money::from_micro(value), uses };
            let mut given = 0;
            for take in takes {
                given += pool.issue(take).unwrap().value.micro();
                prop_assert_eq!(given + pool.value.micro(), value);
            }
            if pool.uses == 0 {
                prop_assert_eq!(given, value);
            }
        }
    }
}
