//! The casting room: from a recipe and a wish to masses, cuts, packs and costs, and from those to a cast at the bench.
//!
//! Invariants: a plan is computed from loaded facts by pure functions and writes nothing; what is booked is what was
//! planned; all that is mixed is accounted for (chip, trim, overfill, residue). Deliberately absent: the choice of packs
//! (stock), who is charged what over time (costing).

pub mod bench;
pub mod cost;
mod course_routes;
pub mod life;
pub mod planning;
mod routes;
mod store;
pub mod sums;
pub mod trace;
mod treatment_routes;
pub mod variance;

pub use routes::routes;
