//! The daily mail: the warnings that stand, what to order, what expires, what is overdue and what is cast, to those who were
//! configured.
//!
//! Invariants: nothing is mailed to anybody unless an address to hand it over is configured; a day's digest is queued once,
//! in the transaction that takes the day, however many processes share the database; no request and no transaction ever
//! waits for a mail server; a repeat is the same mail under the same id. Deliberately absent: mail at any other time
//! (webhooks tell at once).

pub mod address;
pub mod compose;
pub mod digest;
mod mailer;
mod ops;
pub mod render;
mod send;
pub mod settings;

pub use mailer::{Mailer, mail_turn};
