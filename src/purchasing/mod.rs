//! The purchasing room: purchase files in, orders and lots out, with what they cost on arrival.
//!
//! Invariants: a file is read whole before anything is written, and written whole or not at all; every bad row is
//! reported; the same order and line number never makes a second lot. Deliberately absent: what becomes of a lot (stock).

pub mod budget;
mod cell;
mod csv_error;
pub mod csv_file;
mod csv_records;
mod csv_text;
pub mod date;
pub mod facts;
pub mod goods;
pub mod identity;
pub mod import;
pub mod landed;
mod landing;
pub mod number;
pub mod ops;
pub mod order_input;
mod pack;
pub mod quoted;
pub mod rate;
pub mod rate_file;
pub mod rate_report;
pub mod rate_source;
pub mod rates_fetch;
pub mod reference_decision;
pub mod reference_rates;
pub mod report;
mod routes;
pub mod row;
mod store;
#[cfg(test)]
mod tests;

pub use ops::{csv_limits, drafts_forget};
pub use rates_fetch::rates_turn;
pub use routes::routes;
