//! The page of a lot: its packs as vessels, what is done to them at the bench, its history and where it went; and its label.
//!
//! Invariants: what may be done is shown to whoever may do it, and one pack is in hand at a time; a form goes through the
//! operation behind the API's door of the same name, and what stands against it is told in that door's words, with all that was
//! typed kept; a form that was sent twice posts once, since it names the last movement that its page knew. Deliberately absent:
//! taking a movement back, and any figure of its own.

mod deed;
mod label;
mod ops;
mod routes;
mod said;
mod trace;
mod view;

pub(super) use routes::routes;
