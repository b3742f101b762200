//! The reorder room: what will be used, when it runs out, when to order and how much.
//!
//! Invariants: booked casts are known demand and are never forecast again; every figure comes from the pure files; a
//! warning is raised once. Deliberately absent: the placing of orders (purchasing), the delivery of warnings (notify).

pub mod assess;
pub mod classify;
pub mod demand;
pub mod distribution;
pub mod facts;
pub mod forecast;
pub mod foresee;
pub mod kits;
pub mod lead_time;
pub mod order_quantity;
pub mod reason;
pub mod reorder_point;
pub mod service;
pub mod walk;
