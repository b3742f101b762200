//! Closing periods.
//!
//! Invariants: periods follow each other without a gap, and what is closed stays closed; nothing is written under a closed
//! day any more, so that what comes later lands in the open period; the reports of a closed period are kept as they
//! were written, with the heads of all lots, and are given again byte for byte. Deliberately absent: the guard that
//! keeps entries out (stock), which the closing only advances.

pub mod ops;
pub mod view;
