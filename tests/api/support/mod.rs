//! What the API's tests stand on: a service of their own over real HTTP, with clock and entropy in hand.

mod app;
#[path = "../../../src/costing/tests/books.rs"]
pub(crate) mod books;
pub(crate) mod browser;
pub(crate) mod catalogue_forms;
mod client;
#[path = "../../../src/db/testing.rs"]
mod database;
pub(crate) mod lab;
pub(crate) mod mock;
mod process;
pub(crate) mod receiver;
pub(crate) mod receiving;
pub(crate) mod reconcile;
pub(crate) mod sheet;
mod shelf;
pub(crate) mod smtp;

pub(crate) use app::TestApp;
pub(crate) use client::{Answer, Client, send};
pub(crate) use database::TestDatabase;
pub(crate) use process::{Heeltap, heeltap};
pub(crate) use shelf::receive;

/// An operation's address with its parameters filled in: `0` is nobody's id and no code in any test.
pub(crate) fn filled(path: &str) -> String {
    path.split('/')
        .map(|part| if part.starts_with('{') { "0" } else { part })
        .collect::<Vec<_>>()
        .join("/")
}
