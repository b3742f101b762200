//! The casts by day: those to come, those that wait to be demoulded, and what the last ones cost.
//!
//! Invariants: whatever waits for somebody stands before what is done; each cast leads to its own page. Deliberately absent:
//! planning (it has a page of its own), and the casts that were cancelled.

mod ops;
mod routes;
mod rows;

pub(super) use routes::routes;
