//! Looks for bytes that break what `checks/csv_reader.rs` says holds of all.
#![no_main]

#[path = "../checks/csv_reader.rs"]
mod csv_reader;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| csv_reader::check(bytes));
