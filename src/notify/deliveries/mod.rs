//! What all channels have in common: a delivery is claimed with a lease, attempted, and settled.
//!
//! Invariants: a delivery is attempted only under a lease that no other process holds; an attempt is counted when it begins,
//! so that one that kills the process is counted too; a lease that ran out is claimed again, so that every message is sent at
//! least once, under one id; a delivery that was settled moves no more until somebody resends it. Deliberately absent: how a
//! message is sent, and to whom (the folder of each channel).

pub mod attempt;
mod ops;
mod routes;
mod store;
#[cfg(test)]
mod tests;
pub mod view;

pub(in crate::notify) use ops::{Claimed, claim, delivery_show, drop_waiting, due, settle};
pub use ops::{DeliveriesLeft, deliveries_forget, deliveries_left};
pub(super) use routes::routes;
