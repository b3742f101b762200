//! What replicas cost, for whoever answers for the money: the report as a table that adds up, what one good chip is made of,
//! how that went over the months, and what longer draining or larger casts would change.
//!
//! Invariants: every figure is the report's own, or the plan's; a drawing has the table of its numbers behind it; the files
//! are those of the API, byte for byte. Printed, the page is an appendix: its days, who pays and the lab's day stand on it,
//! and nothing that can only be pressed. Deliberately absent: any sum of its own, and a form that writes.

mod asked;
mod curves;
mod figures;
mod months;
mod ops;
mod plot;
mod routes;
mod stack;
mod table;

pub(super) use routes::routes;
