//! Plan and book: what a cast would need, as it is typed; and the booking of just that.
//!
//! Invariants: all that was typed is in the address; the plan is the one behind the API's door, in its figures and its words; a
//! booking that was sent twice books once, since its page gave it a key of its own. Deliberately absent: any rule of planning,
//! and a whole course of casts.

mod asked;
mod help;
mod ops;
mod plan_shown;
mod routes;
mod takes;

pub(super) use asked::address_like;
pub(super) use routes::routes;
