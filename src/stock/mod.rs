//! The stock room: lots, packs, movements, reservations, picking and re-picking.
//!
//! Invariants (each held by the database, by `heeltap verify`, and by property tests): promises lie between 0 and what
//! a pack holds; balances equal the sums of their movements; movements are never changed, a mistake is taken back by a
//! movement that names it; value is conserved in each lot; every promise belongs to a booked cast; the movements of a
//! lot form a hash chain. Deliberately absent: what a cast needs (casting), what things cost on the way in (purchasing).

pub mod as_of;
pub mod audit;
pub mod backdate;
pub mod count_due;
pub mod counting;
pub mod counts_due;
pub mod events;
pub mod expiries;
mod grasp;
pub mod heads;
pub mod heads_file;
pub mod holdings;
pub mod ledger;
pub mod load;
pub mod losing;
pub mod needs;
pub mod on_order;
pub mod picking;
pub mod post;
pub mod price_shares;
pub mod promises;
pub mod receive;
pub mod repicking;
pub mod reversing;
mod routes;
pub mod settle;
pub mod shelf;
mod store;
#[cfg(test)]
mod tests;
pub mod trace;
pub mod verify;
pub mod views;
pub mod warnings;
mod why;

pub use routes::routes;
