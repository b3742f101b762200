//! The report of what stays in the cups: prediction against measurement, and what longer draining would save.
//!
//! Invariants: every weighed cup is held against what was known just before it, cup after cup over all history, as the
//! books stand now (an undone pour is in none of it); rows add up to the total, to the millionth; money is the cost that
//! the books keep under `residue`. Deliberately absent: the learning itself (`casting::sums::learned`), and the film and
//! its solution (`casting::sums::residue`).

pub mod drain;
pub mod facts;
pub mod grouping;
pub mod ops;
pub mod report;
pub mod sheet;
pub mod tally;
pub mod view;
