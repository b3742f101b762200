//! The sums of casting: geometry, mix, residue, tape, release coat, heat, yield, hazards.
//!
//! Invariants: every function here is pure, has the unit in the name of what it takes and gives, and names the source of
//! its formula; masses and lengths are doubles and are rounded by whoever shows or stores them. Deliberately absent:
//! recipes, stock, money but for the spreading of a pool, and anything that reads or writes.

pub mod batches;
pub mod bounds;
pub mod cautions;
pub mod coats;
pub mod correction;
pub mod cup_room;
pub mod day;
pub mod fill;
pub mod film;
pub mod hazards;
pub mod heat;
pub mod learned;
pub mod mix;
pub mod pool;
pub mod release;
pub mod residue;
pub mod rounds;
pub mod split;
pub mod tape;
pub mod vessel;
pub mod window;
pub mod yields;
