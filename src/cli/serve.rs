//! `heeltap serve`: serves the API until SIGINT or SIGTERM.
//!
//! Invariants: the first signal lets requests in flight finish; a second one does not wait for them. Standard output
//! has the administrator's token, if this start made it, and the address, each on a line of its own.

use std::future::poll_fn;
use std::task::Poll;

use actix_web::dev::ServerHandle;
use actix_web::rt::{self, System};
use tokio::signal::unix::{Signal, SignalKind, signal};

use super::failure::Failure;
use super::output::say;
use super::settings::Given;
use crate::app::{self, Outside, Serving, WORKERS};
use crate::http::Service;

pub(super) fn run(given: &Given) -> Result<(), Failure> {
    let service = app::open(&given.settings()?, Outside::default())?;
    if let Some(token) = app::first_token(&service)?.and_then(|made| made.token) {
        say(&format!("administrator token: {token}"))?;
    }
    until_signal(service, given, |origin| {
        say(&format!("listening on {origin}"))
    })
}

/// Serves until a signal ends it; `announce` is told the address, with its scheme, once it listens.
pub(super) fn until_signal(
    service: Service,
    given: &Given,
    announce: impl FnOnce(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    System::new().block_on(async {
        let signals = Signals::listen()?;
        let serving = Serving {
            listen: &given.listen,
            threads: given.threads(),
            shutdown_s: given.shutdown_s,
            head_wait: given.limits.head_wait(),
            connections_max: given.limits.connections_max(),
            workers: WORKERS,
        };
        tracing::info!(database = %service.db().url(), "starting");
        let running = app::start(service, &serving)?;
        announce(&running.origin())?;
        let ending = end_by(signals, running.handle());
        running.until_ended_or(ending).await?;
        tracing::info!("ended");
        Ok(())
    })
}

/// The first signal ends the server through its handle; with the second one this is ready.
async fn end_by(mut signals: Signals, handle: ServerHandle) {
    signals.next().await;
    tracing::info!("a signal: requests in flight are finished, then the end");
    rt::spawn(handle.stop(true));
    signals.next().await;
    tracing::warn!("a second signal: the end at once");
}

/// The two signals that end a service.
struct Signals {
    interrupt: Signal,
    terminate: Signal,
}

impl Signals {
    fn listen() -> Result<Self, Failure> {
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
        })
    }

    /// Waits for the next of either.
    async fn next(&mut self) {
        poll_fn(|cx| {
            let either =
                self.interrupt.poll_recv(cx).is_ready() || self.terminate.poll_recv(cx).is_ready();
            if either {
                Poll::Ready(())
            } else {
                Poll::Pending
            }
        })
        .await;
    }
}
