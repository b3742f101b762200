//! The costing room: what replicas cost, by who pays, by month, by recipe, by cast; what was wasted; what the stock is
//! worth; what stays in the cups.
//!
//! Invariants: a report adds up as printed, rows and columns alike, and carries the exact total beside it, which equals
//! the books to the millionth; a cast is reported whole in the period of its demould, and until then as work in
//! progress; one snapshot of the database answers one report. Deliberately absent: what a cast cost and why
//! (casting), who is charged (given at the booking).

pub mod by_source;
mod cast_money;
pub mod charges;
pub mod corrections;
pub mod export;
pub mod ops;
pub mod period;
pub mod periods;
pub mod replica_cost;
pub mod reports;
pub mod residue;
pub mod rounding;
mod routes;
pub mod stock_value;
mod store;
#[cfg(test)]
mod tests;
pub mod waste;

pub use routes::{report_answer, routes};
