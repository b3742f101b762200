//! The report of what the stock is worth: at the beginning and the end of a period, and what changed it between.
//!
//! Invariants: opening + received + corrected + used + lost = closing, row by row and in the total, printed and exact; the
//! closing value of an open period is what the lots hold. Coats and moulds, which hold value between the stock and
//! the casts, stand by themselves. Deliberately absent: what single movements were (the lots show them).

pub mod flow;
pub mod grouping;
pub mod ops;
pub mod report;
pub mod sheet;
