//! What comes in: a purchase file that is dropped, looked at row by row and received; an order that arrives; one delivery that is
//! typed; and what was received last.
//!
//! Invariants: a look at a file is the dry run of the API, and what receives it the API's import; a file is sent once, and what is
//! decided about it happens at an address that a reload keeps; an error stands at its cell or its field in the operation's own
//! words; everybody sees what came and what is to come, and only who may receive sees the forms. Deliberately absent: mending a
//! file here (the file is the sender's, and is mended where it was written).

mod delivery;
mod delivery_routes;
mod dry_run;
mod field;
mod file_routes;
mod import_routes;
mod lots;
mod ops;
mod options;
mod order;
mod order_routes;
mod overview;
mod result;
mod routes;
mod upload;

pub(super) use routes::routes;
