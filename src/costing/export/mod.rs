//! Reports as files: one table of typed cells, written as CSV or as a spreadsheet.
//!
//! Invariant: a file is written from the table alone, record by record, so that every format says the same.
//! Deliberately absent: which columns a report has (the reports know), reading files (purchasing).

pub mod csv_file;
pub mod sheet;
pub mod xlsx_file;
