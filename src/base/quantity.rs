//! A quantity of a material, exact in millionths of its unit.
//!
//! For: what packs hold, what movements change, what a cast needs. Invariant: never a float. The unit
//! stands on the material, not here. Deliberately absent: products with money (issue value is the
//! ledger's rule).

use super::newtype::micro_newtype;

micro_newtype! {
    /// A quantity in millionths of the material's unit (`g`, `mL`, `m` or `each`).
    ///
    /// ```
    /// use heeltap::base::Quantity;
    /// let a = Quantity::parse("1100")?;
    /// assert_eq!(a.checked_sub(Quantity::from_int(100))?.to_string(), "1000");
    /// # Ok::<(), heeltap::base::MicroError>(())
    /// ```
    Quantity
}
