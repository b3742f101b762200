//! The casting room: from a recipe and a wish to masses, cuts, packs and costs, and from those to a cast at the bench.
//!
//! Invariants: a plan is computed from loaded facts by pure functions and writes nothing; what is booked is what was
//! planned; all that is mixed is accounted for (chip, trim, overfill, residue). Deliberately absent: the choice of packs
//! (stock), who is charged what over time (costing).

pub mod batches;
mod bench_cautions;
pub mod book;
pub mod bounds;
pub mod cautions;
pub mod correct;
pub mod correction;
pub mod cost;
pub mod demold;
pub mod demold_input;
pub mod fill;
pub mod film;
pub mod geometry;
pub mod hazards;
pub mod heat;
pub mod learned;
mod load;
pub mod mix;
pub mod plan;
pub mod plan_view;
pub mod pool;
mod pool_ops;
pub mod pour;
pub mod pour_input;
pub mod release;
pub mod request;
pub mod residue;
mod routes;
pub mod sizing;
pub mod split;
mod standing;
mod store;
pub mod takes;
pub mod tape;
pub mod undo;
pub mod vessel;
pub mod view;
pub mod yields;

pub use routes::routes;
