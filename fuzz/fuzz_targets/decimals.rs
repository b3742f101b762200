//! Looks for bytes that break what `checks/decimals.rs` says holds of all.
#![no_main]

#[path = "../checks/decimals.rs"]
mod decimals;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| decimals::check(bytes));
