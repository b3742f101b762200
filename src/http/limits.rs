//! How much a request may bring, how long it may take to bring it, and how often one may ask.
//!
//! Invariant: each limit has a default here and a setting of its own on the command line. Deliberately absent: the limits of
//! what a file may hold (the room that reads it has them), and those of the database's pool.

use std::time::Duration;

/// Limits on what a request may bring, and on how often one may ask.
#[derive(Debug, Clone, Copy)]
pub struct Limits {
    /// The longest JSON body or form, in bytes.
    pub json_bytes: usize,
    /// The longest file (a CSV of purchases), in bytes.
    pub file_bytes: usize,
    /// How deep arrays and objects of a JSON body may stand in one another, 1 to 100.
    pub json_depth: usize,
    /// The longest path with its query, in bytes.
    pub target_bytes: usize,
    /// The longest head of a request, names and values of all headers together, in bytes.
    pub head_bytes: usize,
    /// The most rows of a page of a list, 1 to 1000.
    pub page_rows: i64,
    /// How long a body may take to arrive.
    pub body_wait: Duration,
    /// The most requests of one token in a second, which may come all at once; 0 for no limit.
    pub token_per_s: u32,
    /// The most requests from one address in a second, which may come all at once; 0 for no limit.
    pub address_per_s: u32,
    /// The most attempts to sign in from one address in a minute, which may come all at once; 0 for no limit.
    pub sign_ins_per_min: u32,
}

impl Default for Limits {
    /// What a lab does not notice and a machine of its size bears (*assumption*); the longest path is twice the 8,000
    /// octets that RFC 9110, section 4.1, recommends at least, since a bench sheet's address holds all that is typed.
    fn default() -> Self {
        Self {
            json_bytes: 1024 * 1024,
            file_bytes: 50 * 1024 * 1024,
            json_depth: 32,
            target_bytes: 16 * 1024,
            head_bytes: 32 * 1024,
            page_rows: 1_000,
            body_wait: Duration::from_secs(120),
            token_per_s: 1_000,
            address_per_s: 2_000,
            sign_ins_per_min: 20,
        }
    }
}
