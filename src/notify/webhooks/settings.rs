//! How webhooks are sent.

use std::time::Duration;

use super::target::Listed;
use crate::notify::deliveries::attempt::Retries;

/// How webhooks are sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WebhookSettings {
    /// What may be sent to although it is not on the internet, or not under TLS.
    pub listed: Listed,
    /// How long one attempt may take, from the resolving of the name to the head of the answer.
    pub timeout: Duration,
    /// How often a message is attempted, and with what pauses.
    pub retries: Retries,
}

impl Default for WebhookSettings {
    fn default() -> Self {
        Self {
            listed: Listed::default(),
            timeout: Duration::from_secs(10),
            retries: Retries::default(),
        }
    }
}

impl WebhookSettings {
    /// How long a delivery is held: an attempt, and time to write down how it ended (*assumption*: as long again and 5 s).
    /// After a kill, that is how long it rests until another attempt.
    #[must_use]
    pub(super) fn lease(&self) -> Duration {
        self.timeout * 2 + Duration::from_secs(5)
    }
}
