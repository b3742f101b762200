//! The pages of the catalogue: what the lab works with, made, changed and retired in a browser; and, where nothing is yet, what
//! comes first.
//!
//! Invariants: one machinery makes the form of every noun from the noun's own document, and what a form says becomes the document
//! that the API would have been sent, read by the same types and kept by the same operations; what stands against it is told at
//! its field, in their words, with all that was typed kept. Deliberately absent: rules of any noun (the catalogue has them), and a
//! second list of fields. An entry whose code is `new` has no page of its own; the API shows it.

mod document;
mod entry_view;
mod form;
mod guide;
mod kinds;
mod layout;
mod lists;
mod ops;
mod probe;
mod routes;
mod rows;
mod said;
mod schema;
mod shown;

pub(super) use guide::Step;
pub(super) use ops::steps;
pub(super) use routes::routes;
