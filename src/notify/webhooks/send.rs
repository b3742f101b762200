//! Sends messages to one webhook.
//!
//! Invariants: a name is resolved once for each connection, all that it stands for is judged, and the connection goes to what
//! was judged, so that no name can change in between; no redirect is followed and no answer's body is read; each attempt ends
//! with the time limit; no outcome has the address or the secret in it.

use std::error::Error as StdError;
use std::net::{SocketAddr, ToSocketAddrs};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Utc};
use reqwest::blocking::Client;
use reqwest::dns::{Addrs, Name, Resolve, Resolving};
use reqwest::header::{CONTENT_TYPE, RETRY_AFTER};
use tokio::sync::oneshot;

use super::settings::WebhookSettings;
use super::signature::Secret;
use super::target::{Listed, Target, TargetError};
use super::verdict::{failed, verdict};
use crate::http::outbound;
use crate::notify::deliveries::Claimed;
use crate::notify::deliveries::attempt::AttemptEnd;

/// The longest text of a library that is kept as a part of an outcome, in characters.
const CAUSE_LENGTH_MAX: usize = 300;

/// Sends to one webhook.
pub(super) struct Sender {
    target: Target,
    secret: Secret,
    client: Client,
    timeout: Duration,
}

impl Sender {
    /// A sender to the address that is kept, signing with the secret that is kept.
    ///
    /// # Errors
    /// How every attempt ends, when nothing can be sent there.
    pub(super) fn new(
        url: &str,
        secret: &str,
        settings: &WebhookSettings,
    ) -> Result<Self, AttemptEnd> {
        let refused = |e: TargetError| failed(format!("not sent: {e}"));
        // The settings may have been others when it was made.
        let target = Target::parse(url).map_err(refused)?;
        target.judge(&settings.listed).map_err(refused)?;
        let secret = Secret::parse(secret)
            .ok_or_else(|| failed("not sent: the secret that is kept is none".to_owned()))?;
        let guard = Guard {
            target: target.clone(),
            listed: settings.listed.clone(),
        };
        let client = outbound::builder(settings.timeout, target.is_encrypted())
            .dns_resolver(Arc::new(guard))
            // Every attempt resolves and judges anew.
            .pool_max_idle_per_host(0)
            .build()
            .map_err(|e| failed(format!("not sent: {}", cause(&e))))?;
        Ok(Self {
            target,
            secret,
            client,
            timeout: settings.timeout,
        })
    }

    /// What may be logged of the address.
    pub(super) fn host(&self) -> &str {
        self.target.host()
    }

    /// Sends a message once.
    pub(super) fn send(&self, claimed: &Claimed, now: DateTime<Utc>) -> AttemptEnd {
        let timestamp_s = now.timestamp();
        let signature = self
            .secret
            .sign(&claimed.message_id, timestamp_s, &claimed.payload);
        let sent = self
            .client
            .post(self.target.url())
            .header(CONTENT_TYPE, "application/json")
            .header("webhook-id", &claimed.message_id)
            .header("webhook-timestamp", timestamp_s)
            .header("webhook-signature", signature)
            .body(claimed.payload.clone())
            .send();
        match sent {
            Ok(response) => {
                let retry_after = response.headers().get(RETRY_AFTER);
                let retry_after = retry_after.and_then(|value| value.to_str().ok());
                verdict(response.status().as_u16(), retry_after, now)
            }
            Err(error) => failed(self.failure(error)),
        }
    }

    fn failure(&self, error: reqwest::Error) -> String {
        if error.is_timeout() {
            return format!("no answer within {} s", self.timeout.as_secs_f64());
        }
        let is_connect = error.is_connect();
        // The address may hold a key.
        let error = error.without_url();
        match refusal(&error) {
            Some(refusal) => format!("not sent: {refusal}"),
            None if is_connect => format!("no connection: {}", cause(&error)),
            None => format!("the request broke off: {}", cause(&error)),
        }
    }
}

/// Why the name was not connected to, if that is why.
fn refusal(error: &reqwest::Error) -> Option<&TargetError> {
    let mut cause: Option<&(dyn StdError + 'static)> = Some(error);
    while let Some(one) = cause {
        if let Some(refusal) = one.downcast_ref::<TargetError>() {
            return Some(refusal);
        }
        cause = one.source();
    }
    None
}

/// The text of the cause of causes: those around it say no more than that there was a request, and may repeat its address.
fn cause(error: &dyn StdError) -> String {
    let mut cause = error;
    while let Some(next) = cause.source() {
        cause = next;
    }
    cause.to_string().chars().take(CAUSE_LENGTH_MAX).collect()
}

type Fault = Box<dyn StdError + Send + Sync>;

/// Resolves the name of one target, and gives out what may be connected to.
struct Guard {
    target: Target,
    listed: Listed,
}

impl Resolve for Guard {
    fn resolve(&self, name: Name) -> Resolving {
        let (told, answer) = oneshot::channel();
        let (target, listed) = (self.target.clone(), self.listed.clone());
        // The system's resolver cannot be called off. Its thread is left to itself, so that nobody waits for it beyond the
        // time limit.
        let started = std::thread::Builder::new()
            .name("webhook name".to_owned())
            .spawn(move || {
                // Nobody listens any more after the time limit.
                let _ = told.send(resolved(name.as_str(), &target, &listed));
            });
        Box::pin(async move {
            started?;
            let addresses = answer.await??;
            Ok(Box::new(addresses.into_iter()) as Addrs)
        })
    }
}

/// All that a name stands for; the first that may not be sent to spoils it.
fn resolved(name: &str, target: &Target, listed: &Listed) -> Result<Vec<SocketAddr>, Fault> {
    let addresses: Vec<SocketAddr> = (name, 0).to_socket_addrs()?.collect();
    for address in &addresses {
        target.judge_address(address.ip(), listed)?;
    }
    Ok(addresses)
}
