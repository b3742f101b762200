//! The client for what this process itself asks of others.
//!
//! Invariants: no redirect is followed, so that only the configured host is ever asked; no proxy of the environment is
//! used; nothing is asked without a time limit. Deliberately absent: what is asked, and of whom.

use std::time::Duration;

use reqwest::blocking::{Client, ClientBuilder};
use reqwest::redirect::Policy;

/// How this program names itself to others.
const USER_AGENT: &str = concat!("heeltap/", env!("CARGO_PKG_VERSION"));

/// Chooses the cryptography of TLS for this process; done again, it changes nothing.
pub fn tls_ready() {
    // An error says that it was chosen before.
    let _ = rustls::crypto::ring::default_provider().install_default();
}

/// A client. `encrypted` says whether it is for `https`: one for plain `http` needs no certificates of the machine, which
/// may have none.
///
/// # Errors
/// What the library says, such as that the machine's certificates cannot be read.
pub fn client(timeout: Duration, encrypted: bool) -> Result<Client, reqwest::Error> {
    builder(timeout, encrypted).build()
}

/// As [`client`], for who has more to say of it.
pub fn builder(timeout: Duration, encrypted: bool) -> ClientBuilder {
    tls_ready();
    let mut builder = Client::builder()
        .user_agent(USER_AGENT)
        .redirect(Policy::none())
        .no_proxy()
        .connect_timeout(timeout)
        .timeout(timeout);
    if !encrypted {
        builder = builder.tls_certs_only([]);
    }
    builder
}
