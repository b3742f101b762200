//! heeltap: inventory and cost for labs that cast replicas in two-part silicone elastomer.
//!
//! The rooms, from the ground up. Imports run one way, downwards:
//!
//! - [`base`]: exact decimals, quantities, money, codes, units, the one error, clock and entropy as things passed in
//! - [`db`]: one connection type over SQLite and PostgreSQL, transactions, migrations
//! - [`http`]: the door, bodies, paging, idempotency, problem documents; it knows no feature
//! - [`catalogue`]: materials, elastomers, kits, molds, recipes, grants, suppliers
//! - [`stock`]: lots, packs, movements, promises, picking, bench events, warnings, verification
//! - [`purchasing`]: purchase files, orders, landed cost, exchange rates
//! - [`casting`]: the sums of a cast, its plan, and its life from booking to demoulding
//! - [`costing`]: what replicas cost, by who pays, month, recipe and cast
//! - [`reorder`]: demand, forecast, run-out, last day to order, how much; warnings
//! - [`notify`]: webhooks, the daily mail, the calendar
//! - [`pages`]: what people look at in a browser, made on the server
//! - [`app`]: the composition root: doors, routes, the OpenAPI document, the server, the background workers
//! - [`cli`]: the command line
//!
//! Deliberately absent: any state outside the database but for the pool, counters, how far a fetch is, and what is just being sent; any use of a float for money or stock.

// So that a file shared with the integration tests names this crate the same way in both.
#[cfg(test)]
extern crate self as heeltap;

pub mod app;
pub mod base;
pub mod casting;
pub mod catalogue;
pub mod cli;
pub mod costing;
pub mod db;
pub mod http;
pub mod notify;
pub mod pages;
pub mod purchasing;
pub mod reorder;
pub mod stock;
