//! Webhooks: each message of the outbox is sent to the addresses that ask for its topic, signed.
//!
//! Invariants: nothing is sent to an address that is not on the internet unless it is listed, and that is judged on the very
//! addresses that are connected to; no redirect is followed; a receiver that hangs holds one of four places for no longer than
//! two attempts take before others have their turn, and keeps neither a request nor the end of the process waiting; a secret is
//! shown once. One process sends to one receiver in the order in which messages were put out, but what failed is overtaken by
//! what comes after it, and several processes overtake each other: whoever minds the order goes by the messages' timestamps.
//! Deliberately absent: what the messages say, and what is kept of an attempt (the folder of deliveries).

mod counters;
mod ops;
mod routes;
mod runs;
mod send;
mod settings;
pub mod signature;
mod store;
pub mod target;
mod verdict;
pub mod view;
mod worker;

pub use routes::routes;
pub use settings::WebhookSettings;
pub use worker::{Webhooks, webhooks_turn};
