//! The bench sheet: what a cast has to do at the bench, step by step in working order, with times, lots and cautions.
//!
//! Invariants: the sheet is built by pure files from the plan that the cast keeps and from the promises as they stand now;
//! every caution stands at the step where it matters, and the sheet ends by deferring to the safety data sheets.
//! Deliberately absent: the printable page (a page shows this document), and anything that writes.

mod build;
pub mod clock;
mod cup_steps;
mod drawing;
mod routes;
pub mod sheet;
mod show;
mod steps;

pub(super) use routes::routes;
pub use show::{Clocked, sheet_show};
