//! One cast: its life as a line, what was planned against what came, what a good chip cost, where it came from, who pays.
//!
//! Invariants: every figure is the operations' own; the drawing shows what the table beside it says, part by part under the
//! same numbers; what stayed in the cups is never drawn away, since it is what can be saved; a form that was sent twice acts once.
//! Deliberately absent: pouring and demoulding (they are done at the bench sheet).

mod against;
mod deed_routes;
mod deeds;
mod life;
mod ops;
mod origins;
mod routes;

pub(super) use routes::routes;
