//! An amount of money, exact in millionths of a currency.
//!
//! For: landed cost, lot value, cost of a cast. Invariant: never a float. The currency stands beside
//! the amount (the installation's base currency unless a field says otherwise), not in it.
//! Deliberately absent: conversion between currencies (the purchasing room's rate does that).

use super::newtype::micro_newtype;

micro_newtype! {
    /// An amount in millionths of a currency unit.
    ///
    /// ```
    /// use heeltap::base::Money;
    /// let price = Money::parse("89.50")?;
    /// assert_eq!(price.mul_div_half_even(1, 3)?.to_string(), "29.833333");
    /// # Ok::<(), heeltap::base::MicroError>(())
    /// ```
    Money
}
