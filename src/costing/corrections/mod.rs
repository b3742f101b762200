//! Price corrections: a credit note, or a price that turned out otherwise, after the delivery.
//!
//! Invariants: each lot of a corrected line bears its part by landed cost, and each part falls on what is left of the lot,
//! on the casts that used of it, and on what was lost, in proportion to the value each had taken, corrections before
//! it included; nothing is corrected below zero; what falls on casts is posted to the grants charged for them, on the
//! day of the correction, which lies in an open period. Deliberately absent: changes of what casts cost (their
//! costs are the movements of the ledger; reports show corrections as lines of their own).

pub mod bearers;
pub mod input;
pub mod ops;
pub mod view;
