//! The reorder room: what will be used, when it runs out, when to order and how much.
//!
//! Invariants: booked casts are known demand and are never forecast again; every figure comes from the pure files; a
//! warning is raised once. Deliberately absent: the placing of orders (purchasing), the delivery of warnings (notify).

pub mod alarms;
pub mod assess;
pub mod batches;
pub mod classify;
pub mod demand;
pub mod distribution;
pub mod facts;
pub mod forecast;
pub mod foresee;
pub mod judge;
pub mod kept;
pub mod kit_facts;
pub mod kits;
pub mod lead_time;
mod load;
pub mod material_facts;
pub mod notice;
mod ops;
pub mod order_lines;
pub mod order_quantity;
pub mod reason;
pub mod reorder_point;
mod routes;
mod scenario;
pub mod service;
pub mod settings;
pub mod still_to_come;
mod store;
#[cfg(test)]
mod tests;
pub mod view;
pub mod walk;

pub use ops::{Standing, advice_kept, drain, forecast_settings, refresh, standing};
pub use routes::{refreshed, routes};
