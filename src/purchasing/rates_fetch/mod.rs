//! Fetching a bank's daily reference rates from a configured address.
//!
//! Invariants: nothing is asked of anybody unless an address is configured, and then only of that host; no request and no
//! transaction ever waits for it (the file is fetched and read first, then its rates are written in short transactions); a
//! rate that somebody entered is never overwritten; a failure is logged and counted by its reason, tried again with growing
//! pauses, and then rested from until the next turn of the interval. A missing rate stays missing: nothing is made up.
//! Deliberately absent: reading the file and deciding on it (pure files beside this folder).

mod address;
mod ask;
mod counters;
mod failure;
mod fetcher;
mod keep;
mod schedule;

pub use address::{AddressError, RatesAddress, RatesSettings};
pub use failure::FetchFailure;
pub use fetcher::{RatesFetcher, fetch_now, rates_turn};
pub use keep::FetchReport;
