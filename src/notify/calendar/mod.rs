//! The calendar: days to order by, last good days and booked casts as a feed that any calendar can subscribe to.
//!
//! Invariants: a key opens the calendar and nothing else; its secret is shown once and stands nowhere, in no log either; an
//! event keeps its identity when its day moves, so that a calendar moves it too. Deliberately absent: alarms (each reader
//! sets their own), and any way to write into the books from a calendar.

pub mod content_lines;
pub mod events;
pub mod feed;
mod ops;
mod routes;
mod store;

pub use routes::routes;
