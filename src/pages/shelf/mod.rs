//! The shelf, which is the first page: what is to do, and every lot as the vessel it is in.
//!
//! Invariants: a vessel is filled to what it holds, what is promised hatched; the dashed mark on the glass is where all stock
//! of the material would be at its reorder point, as it is used up in order; the horizon beside it shows the advice's own
//! walk, and its numbers stand behind it. Deliberately absent: any other judgement.

mod ops;
mod plank;
mod routes;
mod todo;

pub(super) use routes::routes;
