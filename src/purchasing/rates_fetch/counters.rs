//! What is counted of fetching.

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use prometheus::{IntCounter, IntCounterVec, IntGauge, Opts, Registry};

use super::failure::FetchFailure;
use super::keep::FetchReport;
use crate::base::Error;
use crate::http::metrics::registered;

/// What became of rates, as a label.
const OUTCOMES: [&str; 5] = [
    "entered",
    "replaced",
    "unchanged",
    "left_alone",
    "passed_over",
];

/// The counters.
pub(super) struct Counters {
    attempts: IntCounter,
    successes: IntCounter,
    failures: IntCounterVec,
    rates: IntCounterVec,
    last_success: IntGauge,
    last_day: IntGauge,
}

impl Counters {
    /// Nothing counted yet; every reason and outcome stands at 0.
    ///
    /// # Errors
    /// [`Error::Internal`] when they are registered already.
    pub(super) fn new(registry: &Registry) -> Result<Self, Error> {
        let attempts = IntCounter::new(
            "heeltap_rates_fetch_attempts_total",
            "Requests for reference rates",
        );
        let successes = IntCounter::new(
            "heeltap_rates_fetch_successes_total",
            "Requests for reference rates whose answer was kept",
        );
        let failures = IntCounterVec::new(
            Opts::new(
                "heeltap_rates_fetch_failures_total",
                "Requests for reference rates that failed, by reason",
            ),
            &["reason"],
        );
        let rates = IntCounterVec::new(
            Opts::new(
                "heeltap_rates_fetched_total",
                "Reference rates fetched, by what became of them",
            ),
            &["outcome"],
        );
        let last_success = IntGauge::new(
            "heeltap_rates_fetch_last_success_timestamp_seconds",
            "When reference rates were last fetched and kept; 0 for never",
        );
        let last_day = IntGauge::new(
            "heeltap_rates_fetch_last_day_timestamp_seconds",
            "The last day of the reference rates fetched last, at its beginning; 0 for none",
        );
        let counters = Self {
            attempts: registered(registry, attempts)?,
            successes: registered(registry, successes)?,
            failures: registered(registry, failures)?,
            rates: registered(registry, rates)?,
            last_success: registered(registry, last_success)?,
            last_day: registered(registry, last_day)?,
        };
        for reason in FetchFailure::REASONS {
            counters.failures.with_label_values(&[reason]);
        }
        for outcome in OUTCOMES {
            counters.rates.with_label_values(&[outcome]);
        }
        Ok(counters)
    }

    pub(super) fn attempted(&self) {
        self.attempts.inc();
    }

    pub(super) fn failed(&self, failure: &FetchFailure) {
        self.failures.with_label_values(&[failure.reason()]).inc();
    }

    pub(super) fn succeeded(&self, report: &FetchReport, now: DateTime<Utc>) {
        let counts = [
            report.entered.len() as u64,
            report.replaced.len() as u64,
            report.unchanged,
            report.left_alone,
            report.passed_over.all(),
        ];
        for (outcome, count) in OUTCOMES.into_iter().zip(counts) {
            self.rates.with_label_values(&[outcome]).inc_by(count);
        }
        self.successes.inc();
        self.last_success.set(now.timestamp());
        if let Some(day) = report.last_day {
            self.last_day.set(beginning(day));
        }
    }
}

fn beginning(day: NaiveDate) -> i64 {
    day.and_time(NaiveTime::MIN).and_utc().timestamp()
}
