//! The life of a cast: booked, rescheduled, charged otherwise, poured, demoulded; or cancelled; and each step
//! taken back.
//!
//! Invariants: a step is one transaction (lock, load, decide, append); what is decided is decided by the pure files
//! (`pour_input`, `outliers`, `takes`, `demold_input`). Deliberately absent: what a plan consists of (`planning`).

pub mod book;
pub mod booked;
pub mod charges_input;
mod coat_needs;
mod coating;
pub mod demold;
pub mod demold_input;
pub mod inspect;
mod learning;
pub mod outliers;
mod pool_ops;
mod posting;
pub mod pour;
pub mod pour_input;
pub mod recharge;
pub mod reschedule;
pub(in crate::casting) mod standing;
pub mod takes;
pub mod treat;
pub mod treatment_input;
pub mod treatment_view;
pub mod undo;
pub mod view;
