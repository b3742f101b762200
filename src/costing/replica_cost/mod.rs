//! The report of what replicas cost: rows from casts, by who pays, month, recipe or cast.
//!
//! Invariants: a cast charged to several grants counts once in the total and once in the row of each; chips go with the
//! share. Deliberately absent: what was wasted of it (`waste`).

pub mod grouping;
pub mod interval;
pub mod ops;
pub mod per_chip;
pub mod report;
pub mod sheet;
pub mod tally;
pub mod variance;
