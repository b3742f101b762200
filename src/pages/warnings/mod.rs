//! Every warning that stands, and what is being done about it.
//!
//! Invariants: what nobody has seen to comes first, the gravest of it before the rest; a note is the operation's, and says who
//! wrote it. Deliberately absent: what makes a warning, and what makes it go (the rooms below decide).

mod routes;
mod rows;
mod told;

pub(super) use routes::routes;
pub(super) use told::{due, is_grave, says, where_done};
