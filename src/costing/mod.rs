//! The costing room: what replicas cost, by who pays, by month, by recipe, by cast; what stays in the cups.
//!
//! Invariants: a report adds up as printed, rows and columns alike, and carries the exact total beside it, which equals
//! the sums kept for its casts to the millionth; a cast is reported whole in the period of its demould, and until then
//! as work in progress; one snapshot of the database answers one report. Deliberately absent: what a cast cost and why
//! (casting), who is charged (given at the booking).

pub mod csv_export;
pub mod grouping;
pub mod interval;
pub mod ops;
pub mod period;
pub mod report;
pub mod report_csv;
pub mod residue;
pub mod rounding;
mod routes;
mod store;
pub mod tally;
#[cfg(test)]
mod tests;

pub use routes::routes;
