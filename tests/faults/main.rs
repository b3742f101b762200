//! The service under load and under fault: many clients at few lots, a process that is killed, a disk that is full, a
//! database that takes no writes. On the database that `HEELTAP_TEST_DATABASE` names.
//!
//! Invariants: every random choice comes from a seed that is printed (`HEELTAP_FAULTS_SEED` sets it); what a client was
//! answered is held against the books, both ways. Deliberately absent: what single operations do (see `tests/api`).

#![expect(clippy::print_stdout, reason = "what a run prints are its figures")]

mod books;
mod chance;
mod deeds;
mod kills;
mod refused_writes;
mod relay;
mod server_gone;
mod soak;
mod stress;
#[allow(dead_code, unused_imports)]
#[path = "../api/support/mod.rs"]
mod support;
mod worker;

/// A number from the environment, or what is usual.
fn setting(name: &str, usual: u64) -> u64 {
    match std::env::var(name) {
        Err(_) => usual,
        Ok(text) => text
            .parse()
            .unwrap_or_else(|_| panic!("{name} is `{text}`: write a whole number")),
    }
}
