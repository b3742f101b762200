//! The turns of the worker that sends webhooks.
//!
//! Invariants: a turn never waits for the network: it only looks what is due and begins runs, each on a thread of its own; a
//! run sends to one receiver, message by message, until nothing is due or it has taken as long as one attempt may; no
//! transaction is open while something is sent. The end of the process waits for no run: what was under way is attempted again
//! when its lease has run out. Deliberately absent: whose turn it is (the runs say).

use std::time::Instant;

use parking_lot::Mutex;
use prometheus::Registry;

use super::counters::Counters;
use super::runs::Runs;
use super::send::Sender;
use super::settings::WebhookSettings;
use super::store;
use super::target::Listed;
use crate::base::Error;
use crate::http::Service;
use crate::notify::deliveries::attempt::{AttemptEnd, Settlement};
use crate::notify::deliveries::view::Channel;
use crate::notify::deliveries::{Claimed, claim, drop_waiting, due, settle};

/// Who stands as the actor of what a run writes.
const ACTOR: &str = "webhooks";

/// What sends webhooks: its settings and what is under way. A part of the service.
pub struct Webhooks {
    settings: WebhookSettings,
    counters: Counters,
    runs: Mutex<Runs>,
}

impl Webhooks {
    /// Nothing sent yet; it counts in the registry.
    ///
    /// # Errors
    /// [`Error::Internal`] when the registry has its counters already.
    pub fn new(settings: WebhookSettings, registry: &Registry) -> Result<Self, Error> {
        Ok(Self {
            settings,
            counters: Counters::new(registry)?,
            runs: Mutex::default(),
        })
    }

    /// The one of a service.
    pub(super) fn of(service: &Service) -> Result<&Self, Error> {
        service
            .part::<Self>()
            .ok_or_else(|| Error::internal("this service sends no webhooks"))
    }

    /// What may be sent to although it is not on the internet.
    pub(super) fn listed(&self) -> &Listed {
        &self.settings.listed
    }

    /// Sends to one receiver.
    fn run(&self, service: &Service, webhook: i64) -> Result<(), Error> {
        let kept = service
            .db()
            .read(|conn| store::webhook_sending(conn, webhook))?;
        let Some((url, secret)) = kept else {
            // It was removed while something was put out for it.
            return service.as_actor(ACTOR, |tx| drop_waiting(tx, webhook).map(|_| ()));
        };
        let sender = Sender::new(&url, &secret, &self.settings);
        let (begun, lease) = (Instant::now(), self.settings.lease());
        while begun.elapsed() < self.settings.timeout {
            let receiver = (Channel::Webhook, Some(webhook));
            let Some(claimed) = claim(service, receiver, lease, 1)?.pop() else {
                break;
            };
            self.counters.attempted();
            let (end, host) = match &sender {
                Ok(sender) => (sender.send(&claimed, service.now()), sender.host()),
                Err(end) => (end.clone(), ""),
            };
            let settled = settle(service, &claimed, &end, &self.settings.retries)?;
            if let Some(settlement) = settled {
                self.counters.settled(settlement);
                log(webhook, host, &claimed, &end, settlement);
            }
        }
        Ok(())
    }
}

fn log(webhook: i64, host: &str, claimed: &Claimed, end: &AttemptEnd, settlement: Settlement) {
    let (message, said, attempt) = (&claimed.message_id, end.said(), claimed.attempt);
    match settlement {
        Settlement::Delivered => {
            tracing::debug!(
                webhook,
                host,
                message,
                attempt,
                said,
                "a message was delivered"
            );
        }
        Settlement::Again(pause) => {
            let pause_s = pause.as_secs();
            tracing::info!(
                webhook,
                host,
                message,
                attempt,
                said,
                pause_s,
                "a message was not delivered yet"
            );
        }
        Settlement::Dead => {
            tracing::warn!(
                webhook,
                host,
                message,
                attempt,
                said,
                "a message was given up"
            );
        }
    }
}

/// Ends a run when it goes out of scope, whatever happened in it.
struct UnderWay<'a>(&'a Webhooks, i64);

impl Drop for UnderWay<'_> {
    fn drop(&mut self) {
        self.0.runs.lock().end(self.1);
    }
}

/// A turn of the worker: begins to send to some of those that something is due for.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer, or the operating system gives no thread. An attempt that fails
/// is counted and kept, and is no error of the turn.
pub fn webhooks_turn(service: &Service) -> Result<(), Error> {
    let webhooks = Webhooks::of(service)?;
    let due = due(service, Channel::Webhook)?;
    webhooks.counters.waiting(due.waiting);
    let receivers: Vec<i64> = due.receivers.into_iter().flatten().collect();
    let begun = webhooks.runs.lock().begin(&receivers);
    let mut outcome = Ok(());
    for webhook in begun {
        let own = service.clone();
        let started = std::thread::Builder::new()
            .name(format!("webhook {webhook}"))
            .spawn(move || run_alone(&own, webhook));
        if let Err(error) = started {
            webhooks.runs.lock().end(webhook);
            outcome = Err(Error::Unavailable {
                detail: format!("no thread to send webhooks: {error}"),
            });
        }
    }
    outcome
}

fn run_alone(service: &Service, webhook: i64) {
    let Ok(webhooks) = Webhooks::of(service) else {
        return;
    };
    let _under_way = UnderWay(webhooks, webhook);
    if let Err(error) = webhooks.run(service, webhook) {
        tracing::error!(webhook, %error, "sending broke off");
    }
}
