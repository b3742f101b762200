//! The id under which a request stands in the logs and in its problem documents.

use std::sync::atomic::{AtomicU64, Ordering};

/// A request's id: the process's start in seconds and a count, so that it is unique for one service and short enough to read out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RequestId(pub(super) String);

static COUNT: AtomicU64 = AtomicU64::new(0);

impl RequestId {
    /// The next id. `started_s` is the process's start as seconds since 1970.
    #[must_use]
    pub(super) fn next(started_s: i64) -> Self {
        Self(format!(
            "{started_s:x}-{:x}",
            COUNT.fetch_add(1, Ordering::Relaxed)
        ))
    }
}
