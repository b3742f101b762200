//! Work beside the requests: each worker has a thread, a pace, and ends with the server.
//!
//! Invariants: a worker that fails or panics is logged and tried again at its next turn; a daily job runs once per
//! local day however many processes share the database; the end of the process waits for the turn that is under way.
//! Deliberately absent: what the workers do (the rooms know).

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use parking_lot::{Condvar, Mutex};

use crate::base::Error;
use crate::db::{job_claim, job_give_back};
use crate::http::Service;
use crate::http::sessions::sessions_forget;
use crate::http::tls::certificates_turn;
use crate::{notify, purchasing, reorder};

/// Work that is done again and again.
#[derive(Debug, Clone, Copy)]
pub struct Worker {
    /// Its name in the log.
    pub name: &'static str,
    /// How long it rests between two turns.
    pub every: Duration,
    /// One turn.
    pub work: fn(&Service) -> Result<(), Error>,
}

/// Work that is done once per local day.
struct DailyJob {
    name: &'static str,
    work: fn(&Service) -> Result<(), Error>,
}

/// The workers of a serving process. A room's worker is added here.
pub const WORKERS: &[Worker] = &[
    Worker {
        name: "certificates",
        every: Duration::from_secs(60),
        work: certificates_turn,
    },
    Worker {
        name: "daily jobs",
        every: Duration::from_secs(60),
        work: daily,
    },
    Worker {
        name: "reorder advice",
        every: Duration::from_secs(5),
        work: reorder::drain,
    },
    Worker {
        // A turn only looks whether it is time, or takes up what a thread of its own has fetched.
        name: "exchange rates",
        every: Duration::from_secs(1),
        work: purchasing::rates_turn,
    },
    Worker {
        // A turn never waits for a mail server.
        name: "daily mail",
        every: Duration::from_secs(5),
        work: notify::mail::mail_turn,
    },
    Worker {
        // A turn only looks what is due, and begins to send it on threads of its own.
        name: "webhooks",
        every: Duration::from_secs(1),
        work: notify::webhooks::webhooks_turn,
    },
];

const DAILY: &[DailyJob] = &[
    DailyJob {
        name: "forget-old-answers",
        work: |service| service.forget_old_answers().map(|_| ()),
    },
    DailyJob {
        name: "forget-old-sessions",
        work: sessions_forget,
    },
    DailyJob {
        name: "forget-old-drafts",
        work: purchasing::drafts_forget,
    },
    DailyJob {
        // Dates move even when nothing is written.
        name: "reorder-advice",
        work: reorder::refresh,
    },
    DailyJob {
        name: "forget-old-deliveries",
        work: notify::deliveries::deliveries_forget,
    },
];

fn daily(service: &Service) -> Result<(), Error> {
    DAILY.iter().try_for_each(|job| once_a_day(service, job))
}

/// Runs the job unless it ran on this local day. The day is taken first, so that no other process runs it too, and
/// given back when the job fails.
fn once_a_day(service: &Service, job: &DailyJob) -> Result<(), Error> {
    let (today, now) = (service.today(), service.now());
    if !service
        .db()
        .write(|conn| job_claim(conn, job.name, today, now))?
    {
        return Ok(());
    }
    let outcome = (job.work)(service);
    if outcome.is_err() {
        service
            .db()
            .write(|conn| job_give_back(conn, job.name, today))?;
    }
    outcome
}

/// The threads under way.
pub(super) struct Background {
    ending: Arc<(Mutex<bool>, Condvar)>,
    threads: Vec<JoinHandle<()>>,
}

impl Background {
    /// Starts a thread for each worker.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the operating system gives no thread.
    pub(super) fn start(service: &Service, workers: &[Worker]) -> Result<Self, Error> {
        let ending = Arc::new((Mutex::new(false), Condvar::new()));
        let threads = workers
            .iter()
            .map(|worker| {
                let (service, ending, worker) = (service.clone(), Arc::clone(&ending), *worker);
                std::thread::Builder::new()
                    .name(worker.name.to_owned())
                    .spawn(move || turns(&service, worker, &ending))
                    .map_err(|e| Error::Unavailable {
                        detail: format!("no thread for {}: {e}", worker.name),
                    })
            })
            .collect::<Result<Vec<_>, Error>>()?;
        Ok(Self { ending, threads })
    }

    /// Tells the workers to end and waits for the turns under way.
    pub(super) fn stop(self) {
        *self.ending.0.lock() = true;
        self.ending.1.notify_all();
        for thread in self.threads {
            // A turn's panic is caught and logged where it happens, so that joining has nothing to report.
            let _ = thread.join();
        }
    }
}

fn turns(service: &Service, worker: Worker, ending: &(Mutex<bool>, Condvar)) {
    let (ended, told) = ending;
    loop {
        match catch_unwind(AssertUnwindSafe(|| (worker.work)(service))) {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(worker = worker.name, %error, "a turn failed"),
            Err(_) => tracing::error!(worker = worker.name, "a turn panicked"),
        }
        let mut ended = ended.lock();
        if !*ended {
            told.wait_for(&mut ended, worker.every);
        }
        if *ended {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use chrono::{DateTime, TimeDelta};

    use super::*;
    use crate::base::{Currency, ManualClock, SeededEntropy};
    use crate::db::fixture::on_database;
    use crate::db::{Db, House, WORKING_DAY_MIN_DEFAULT};
    use crate::http::Limits;

    fn service(db: Db) -> (Service, Arc<ManualClock>) {
        let clock = Arc::new(ManualClock::new(DateTime::UNIX_EPOCH));
        let service = Service::new(
            db,
            Arc::clone(&clock) as _,
            Arc::new(SeededEntropy::new(1)),
            House {
                base_currency: Currency::parse("EUR").unwrap(),
                working_day_min: WORKING_DAY_MIN_DEFAULT,
            },
            chrono_tz::UTC,
            Limits::default(),
        );
        (service, clock)
    }

    #[test]
    fn a_daily_job_runs_once_per_local_day_and_again_when_it_failed() {
        static RUNS: AtomicUsize = AtomicUsize::new(0);
        let job = DailyJob {
            name: "test",
            work: |_| match RUNS.fetch_add(1, Ordering::SeqCst) % 3 {
                0 => Err(Error::Internal("on purpose".into())),
                _ => Ok(()),
            },
        };
        on_database(|db| {
            let before = RUNS.load(Ordering::SeqCst);
            let ran = || RUNS.load(Ordering::SeqCst) - before;
            // Another process on the same database.
            let ((one, clock), (other, _)) = (service(db.clone()), service(db));
            assert!(once_a_day(&one, &job).is_err());
            once_a_day(&other, &job).unwrap();
            once_a_day(&one, &job).unwrap();
            once_a_day(&other, &job).unwrap();
            assert_eq!(ran(), 2);
            clock.advance(TimeDelta::days(1));
            once_a_day(&one, &job).unwrap();
            assert_eq!(ran(), 3);
        });
    }

    #[test]
    fn the_jobs_of_a_serving_process_succeed_on_an_empty_database() {
        on_database(|db| daily(&service(db).0).unwrap());
    }

    #[test]
    fn a_worker_goes_on_after_a_panic_and_ends_when_told() {
        static TURNS: AtomicUsize = AtomicUsize::new(0);
        const WORKER: Worker = Worker {
            name: "test",
            every: Duration::from_millis(1),
            work: |_| {
                if TURNS.fetch_add(1, Ordering::SeqCst) == 0 {
                    panic!("on purpose");
                }
                Ok(())
            },
        };
        on_database(|db| {
            let background = Background::start(&service(db).0, &[WORKER]).unwrap();
            while TURNS.load(Ordering::SeqCst) < 3 {
                std::thread::yield_now();
            }
            background.stop();
            let turns = TURNS.load(Ordering::SeqCst);
            std::thread::sleep(Duration::from_millis(20));
            assert_eq!(TURNS.load(Ordering::SeqCst), turns);
        });
    }
}
