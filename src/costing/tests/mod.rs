//! The costing room on a real database.

mod books;
mod reports;
mod residue;
mod worked_example;
