//! Looks for bytes that break what `checks/plan_input.rs` says holds of all.
#![no_main]

#[path = "../checks/plan_input.rs"]
mod plan_input;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| plan_input::check(bytes));
