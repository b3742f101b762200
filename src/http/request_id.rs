//! The id under which a request stands in the logs and in its problem documents.

use std::sync::atomic::{AtomicU64, Ordering};

/// A request's id: the process's start in seconds and a count, so that it is unique for one service and short enough to read out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RequestId(pub(super) String);

static COUNT: AtomicU64 = AtomicU64::new(0);

tokio::task_local! {
    /// The request that is being answered.
    static CURRENT: RequestId;
}

impl RequestId {
    /// The next id. `started_s` is the process's start as seconds since 1970.
    #[must_use]
    pub(super) fn next(started_s: i64) -> Self {
        Self(format!(
            "{started_s:x}-{:x}",
            COUNT.fetch_add(1, Ordering::Relaxed)
        ))
    }

    /// The id of the request that is being answered; none outside of one.
    #[must_use]
    pub(super) fn current() -> Option<Self> {
        CURRENT.try_with(Self::clone).ok()
    }

    /// Answers a request under its id.
    pub(super) async fn over<T>(self, answering: impl Future<Output = T>) -> T {
        CURRENT.scope(self, answering).await
    }
}
