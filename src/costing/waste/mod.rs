//! The report of what was paid for and became no good chip.
//!
//! Invariants: what casts wasted is a part of what the report of replica costs shows for the same casts, by the day of the
//! demould, and never more than it; what was lost outside of casts equals the movements of the ledger and of the pools
//! on those days; rows add up to the total, to the millionth. Deliberately absent: what is stranded on the shelf is
//! shown, but is no waste until it is written off.

pub mod cast_waste;
pub mod category;
pub mod grouping;
pub mod loss;
pub mod ops;
pub mod report;
pub mod sheet;
pub mod stranded;
pub mod tally;
