//! Tracing both ways: which chips, for whom, came from a lot; and which lots went into a cast.
//!
//! Invariants: a lot reaches a cast by what was taken from it for that cast, or through a treatment whose coat the cast was
//! poured on; only what stands counts. Deliberately absent: which movements those are (stock knows).

mod lot;
mod routes;
mod show;
pub mod view;

pub(in crate::casting) use routes::routes;
pub use show::{cast_codes, cast_trace_show, lot_trace_show};
