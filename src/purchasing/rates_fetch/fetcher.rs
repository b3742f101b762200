//! The turns of the worker that fetches rates, and one fetch on demand.
//!
//! Invariants: a turn never waits for the network: the asking has a thread of its own, and a later turn takes up what it
//! brought, so that the service ends at once even while a server hangs; there is at most one such thread. Deliberately
//! absent: when to ask next (the schedule says), and what to keep.

use std::sync::mpsc::{Receiver, TryRecvError, channel};

use parking_lot::Mutex;
use prometheus::Registry;

use super::address::RatesSettings;
use super::ask::ask;
use super::counters::Counters;
use super::failure::FetchFailure;
use super::keep::{FetchReport, keep};
use super::schedule::Schedule;
use crate::base::Error;
use crate::http::Service;
use crate::purchasing::reference_rates::ReferenceRates;

type Asked = Result<ReferenceRates, FetchFailure>;

/// What fetches rates: its settings and how far it is. A part of the service, where an address is configured.
pub struct RatesFetcher {
    settings: RatesSettings,
    counters: Counters,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    schedule: Schedule,
    /// Where the answer of an attempt under way arrives.
    under_way: Option<Receiver<Asked>>,
}

impl RatesFetcher {
    /// A fetcher that has not asked yet, and counts in the registry.
    ///
    /// # Errors
    /// [`Error::Internal`] when the registry has its counters already.
    pub fn new(settings: RatesSettings, registry: &Registry) -> Result<Self, Error> {
        Ok(Self {
            settings,
            counters: Counters::new(registry)?,
            state: Mutex::default(),
        })
    }

    fn turn(&self, service: &Service) -> Result<(), Error> {
        let mut state = self.state.lock();
        match &state.under_way {
            None => {
                if state.schedule.is_due(service.now()) {
                    self.counters.attempted();
                    state.under_way = Some(self.begin()?);
                }
            }
            Some(answer) => {
                let asked = match answer.try_recv() {
                    Err(TryRecvError::Empty) => return Ok(()),
                    Err(TryRecvError::Disconnected) => Err(FetchFailure::Interrupted(
                        "its thread ended before it answered".to_owned(),
                    )),
                    Ok(asked) => asked,
                };
                state.under_way = None;
                let outcome = self.take(service, asked);
                self.plan(service, &mut state.schedule, &outcome)?;
            }
        }
        Ok(())
    }

    /// Begins to ask. The thread is left to itself: it only asks and reads, and ends with the time limit or the process.
    fn begin(&self) -> Result<Receiver<Asked>, Error> {
        let (told, answer) = channel();
        let settings = self.settings.clone();
        std::thread::Builder::new()
            .name("rates fetch".to_owned())
            .spawn(move || {
                // Nobody listens any more when the service has ended.
                let _ = told.send(ask(&settings));
            })
            .map_err(|e| Error::Unavailable {
                detail: format!("no thread to fetch rates: {e}"),
            })?;
        Ok(answer)
    }

    /// Keeps what was brought, counts, and says how it went.
    fn take(&self, service: &Service, asked: Asked) -> Result<FetchReport, FetchFailure> {
        let host = self.settings.address.host();
        let outcome = asked.and_then(|rates| keep(service, &self.settings, &rates));
        match &outcome {
            Ok(report) => {
                self.counters.succeeded(report, service.now());
                let (entered, replaced) = (report.entered.len(), report.replaced.len());
                let passed_over = report.passed_over.all();
                tracing::info!(host, entered, replaced, passed_over, "rates fetched");
            }
            Err(failure) => {
                self.counters.failed(failure);
                tracing::warn!(host, reason = failure.reason(), %failure, "rates were not fetched");
            }
        }
        outcome
    }

    fn plan(
        &self,
        service: &Service,
        schedule: &mut Schedule,
        outcome: &Result<FetchReport, FetchFailure>,
    ) -> Result<(), Error> {
        let (now, interval) = (service.now(), self.settings.interval);
        match outcome {
            Ok(_) => schedule.succeeded(now, interval),
            Err(failure) => {
                let mut chance = [0; 2];
                let drawn = service.entropy().fill(&mut chance);
                schedule.failed(
                    now,
                    interval,
                    failure.may_pass(),
                    u16::from_le_bytes(chance),
                );
                drawn.map_err(Error::internal)?;
            }
        }
        if let Some(next_at) = schedule.next_at() {
            tracing::debug!(%next_at, "the next fetch of rates");
        }
        Ok(())
    }
}

/// A turn of the worker: begins to ask when it is time, or takes up what was answered. Without a configured address it does
/// nothing.
///
/// # Errors
/// [`Error::Unavailable`] when the operating system gives no thread. A fetch that fails is counted and logged, and is no
/// error of the turn.
pub fn rates_turn(service: &Service) -> Result<(), Error> {
    match service.part::<RatesFetcher>() {
        Some(fetcher) => fetcher.turn(service),
        None => Ok(()),
    }
}

/// Fetches once, now, waiting for it; `None` when no address is configured.
///
/// # Errors
/// [`FetchFailure`].
pub fn fetch_now(service: &Service) -> Result<Option<FetchReport>, FetchFailure> {
    let Some(fetcher) = service.part::<RatesFetcher>() else {
        return Ok(None);
    };
    fetcher.counters.attempted();
    let asked = ask(&fetcher.settings);
    fetcher.take(service, asked).map(Some)
}
