//! What the room decides, and what it writes on the database of the run.

mod decision;
mod operations;
