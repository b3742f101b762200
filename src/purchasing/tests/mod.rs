//! What the room decides, and what it writes on the database of the run.

mod books;
mod decision;
mod operations;
mod properties;
