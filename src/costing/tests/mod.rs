//! The costing room on a real database.

mod books;
mod reports;
mod worked_example;
