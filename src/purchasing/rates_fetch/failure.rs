//! Why a fetch failed.
//!
//! Invariants: every failure has a reason of one word, by which it is counted; its text names no part of the address but the
//! host's answer.

use crate::base::Error;
use crate::purchasing::reference_decision::BaseMissing;
use crate::purchasing::reference_rates::ReferenceError;

/// Why a fetch failed.
#[derive(Debug, thiserror::Error)]
pub enum FetchFailure {
    /// It took too long.
    #[error("no whole answer within {seconds} s")]
    Timeout {
        /// The limit, in seconds.
        seconds: f64,
    },
    /// There was no connection: the name, the network, or the certificate.
    #[error("no connection: {0}")]
    Connect(String),
    /// The answer points elsewhere.
    #[error(
        "answered {0}, which points elsewhere: redirects are not followed, so name the final address"
    )]
    Redirect(u16),
    /// The answer is no success.
    #[error("answered {0}")]
    Status(u16),
    /// The answer is too long.
    #[error("the answer is longer than {bytes_max} bytes")]
    TooLarge {
        /// The limit.
        bytes_max: u64,
    },
    /// The answer broke off, or could not be asked for.
    #[error("the request broke off: {0}")]
    Interrupted(String),
    /// The answer is no file of reference rates.
    #[error("the answer cannot be read: {0}")]
    Parse(#[from] ReferenceError),
    /// The file does not serve these books.
    #[error("{0}")]
    BaseMissing(#[from] BaseMissing),
    /// The rates could not be written.
    #[error("the rates cannot be kept: {0}")]
    Books(#[from] Error),
}

impl FetchFailure {
    /// Every reason, in a fixed order.
    pub(super) const REASONS: [&'static str; 9] = [
        "timeout",
        "connect",
        "redirect",
        "status",
        "too_large",
        "interrupted",
        "parse",
        "base_missing",
        "books",
    ];

    /// The reason in one word.
    ///
    /// ```
    /// use heeltap::purchasing::rates_fetch::FetchFailure;
    /// assert_eq!(FetchFailure::Status(503).reason(), "status");
    /// ```
    #[must_use]
    pub fn reason(&self) -> &'static str {
        let place = match self {
            FetchFailure::Timeout { .. } => 0,
            FetchFailure::Connect(_) => 1,
            FetchFailure::Redirect(_) => 2,
            FetchFailure::Status(_) => 3,
            FetchFailure::TooLarge { .. } => 4,
            FetchFailure::Interrupted(_) => 5,
            FetchFailure::Parse(_) => 6,
            FetchFailure::BaseMissing(_) => 7,
            FetchFailure::Books(_) => 8,
        };
        FetchFailure::REASONS[place]
    }

    /// Whether it may pass by itself in a moment: the network, a server in trouble, a database in use. What the server will
    /// answer in the same way again is left until the next turn.
    ///
    /// ```
    /// use heeltap::purchasing::rates_fetch::FetchFailure;
    /// assert!(FetchFailure::Status(503).may_pass());
    /// assert!(!FetchFailure::Status(404).may_pass());
    /// assert!(!FetchFailure::Redirect(302).may_pass());
    /// ```
    #[must_use]
    pub fn may_pass(&self) -> bool {
        match self {
            FetchFailure::Timeout { .. }
            | FetchFailure::Connect(_)
            | FetchFailure::Interrupted(_)
            | FetchFailure::Books(_) => true,
            FetchFailure::Status(status) => *status >= 500 || matches!(status, 408 | 429),
            FetchFailure::Redirect(_)
            | FetchFailure::TooLarge { .. }
            | FetchFailure::Parse(_)
            | FetchFailure::BaseMissing(_) => false,
        }
    }
}
