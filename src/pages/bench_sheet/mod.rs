//! The bench sheet as it lies at the balance: one column, one large mass at a time, with its window and its needle.
//!
//! Invariants: all that was typed is in the address, so that nothing is lost on a reload; the sheet and the advice are the
//! operations' own; on paper it is one page of A4 with boxes to tick. Deliberately absent: writing anything into the books
//! (what was weighed is entered with the pour).

mod advice;
mod asked;
mod details;
mod needle;
mod ops;
mod routes;
mod steps;

pub(super) use routes::routes;
pub(super) use steps::{grams, minutes};
