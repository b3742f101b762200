//! The bench sheet as it lies at the balance: one column, one large mass at a time, with its window and its needle; and what is
//! recorded from it: a coat, the pour, and the chips that were counted.
//!
//! Invariants: one form holds all that is typed and ticked, and the address keeps it, so that nothing is lost on a reload; the
//! sheet, the advice and the records are the operations' own; on paper it is one page of A4 with boxes to tick. Deliberately
//! absent: any figure of its own.

mod advice;
mod asked;
mod blocks;
mod cards;
mod clock;
mod coat_form;
mod demold_form;
mod details;
mod field;
mod keys;
mod needle;
mod ops;
mod pour_form;
mod progress;
mod routes;
mod steps;
mod words;

pub(super) use routes::routes;
pub(super) use words::{grams, minutes};
