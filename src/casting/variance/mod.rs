//! Planned against actual: what made a cast dearer or cheaper than its plan, component by component, and what its rejected
//! chips cost.
//!
//! Invariants: the differences of the components add up to the difference of the totals, and what is split by quantity and
//! by price adds up to its difference, to the millionth; what is compared is the plan that the cast keeps with what the
//! ledger issued to it. Deliberately absent: who pays, and prices that were corrected after the pour (costing).

mod show;
pub mod split;
pub mod used;
pub mod view;
pub mod words;

pub use show::cast_cost;
