//! The statement of charges: what each grant owes for casts, and what of that is paid already.
//!
//! Invariants: what a grant is charged is what the report of replica costs and its price variances show for it; what came
//! from lots that it had paid for itself is charged and taken off again, and what others used of its lots is theirs to
//! pay, so that nothing is paid for twice; all that is to pay together is what came from common stock. Deliberately
//! absent: cost per good chip and how well it is known, which are for planning; who paid for the vials behind a
//! coat, which counts as common.

pub mod ops;
pub mod sheet;
pub mod statement;
