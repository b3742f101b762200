//! What is counted of sending webhooks.

use prometheus::{IntCounter, IntGauge, Registry};

use crate::base::Error;
use crate::http::metrics::registered;
use crate::notify::deliveries::attempt::Settlement;

/// The counters.
pub(super) struct Counters {
    attempts: IntCounter,
    delivered: IntCounter,
    failed: IntCounter,
    dead: IntCounter,
    waiting: IntGauge,
}

impl Counters {
    /// Nothing counted yet.
    ///
    /// # Errors
    /// [`Error::Internal`] when they are registered already.
    pub(super) fn new(registry: &Registry) -> Result<Self, Error> {
        let attempts = IntCounter::new(
            "heeltap_webhook_attempts_total",
            "Attempts to send a message to a webhook",
        );
        let delivered = IntCounter::new(
            "heeltap_webhook_delivered_total",
            "Messages that a webhook took",
        );
        let failed = IntCounter::new(
            "heeltap_webhook_failed_total",
            "Attempts to send a message to a webhook that failed",
        );
        let dead = IntCounter::new(
            "heeltap_webhook_dead_total",
            "Messages to a webhook that were given up",
        );
        let waiting = IntGauge::new(
            "heeltap_webhook_waiting",
            "Messages that wait to be sent to a webhook, in the whole database",
        );
        Ok(Self {
            attempts: registered(registry, attempts)?,
            delivered: registered(registry, delivered)?,
            failed: registered(registry, failed)?,
            dead: registered(registry, dead)?,
            waiting: registered(registry, waiting)?,
        })
    }

    pub(super) fn waiting(&self, count: i64) {
        self.waiting.set(count);
    }

    pub(super) fn attempted(&self) {
        self.attempts.inc();
    }

    pub(super) fn settled(&self, settlement: Settlement) {
        match settlement {
            Settlement::Delivered => self.delivered.inc(),
            Settlement::Again(_) => self.failed.inc(),
            Settlement::Dead => {
                self.failed.inc();
                self.dead.inc();
            }
        }
    }
}
