//! What the process counts of itself, in the text format 0.0.4 of Prometheus.
//!
//! Invariants: every name begins with `heeltap_`; the labels of a request come from the table of doors and the statuses, so
//! that nobody can make a new series by asking. Rooms add their own to [`Metrics::registry`]. Deliberately absent: the
//! address that shows it (the composition root has it), and what rooms count.

use std::time::Duration;

use prometheus::core::Collector;
use prometheus::{
    HistogramOpts, HistogramVec, IntCounterVec, IntGauge, Opts, Registry, TEXT_FORMAT, TextEncoder,
};

use crate::base::Error;
use crate::db::Db;

/// The media type of the text.
pub const METRICS_FORMAT: &str = TEXT_FORMAT;

/// The route of a request that no door fits.
const NO_ROUTE: &str = "none";

/// The methods that are told apart.
const METHODS: [&str; 7] = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"];

/// Upper bounds of the times a request takes, in seconds (*assumption*: most take a few milliseconds, imports seconds).
const SECONDS: [f64; 10] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.1, 0.25, 1.0, 5.0, 30.0];

/// The route of a request as the table of doors writes it; put among the request's extensions by the door.
#[derive(Debug, Clone, Copy)]
pub(super) struct Route(pub(super) &'static str);

/// What is counted.
pub struct Metrics {
    registry: Registry,
    requests: IntCounterVec,
    seconds: HistogramVec,
    connections_in_use: IntGauge,
    connections_open: IntGauge,
}

/// Adds something that counts to a registry, and gives it back to count with.
///
/// # Errors
/// [`Error::Internal`] when something of the same name is there, or the name is not right.
pub fn registered<C: Collector + Clone + 'static>(
    registry: &Registry,
    made: Result<C, prometheus::Error>,
) -> Result<C, Error> {
    let wrong = |error| Error::internal(format!("a metric cannot be registered: {error}"));
    let collector = made.map_err(wrong)?;
    registry
        .register(Box::new(collector.clone()))
        .map_err(wrong)?;
    Ok(collector)
}

impl Metrics {
    /// Nothing counted yet.
    ///
    /// # Errors
    /// [`Error::Internal`] when two metrics have one name.
    pub fn new() -> Result<Self, Error> {
        let registry = Registry::new();
        let requests = IntCounterVec::new(
            Opts::new("heeltap_http_requests_total", "Requests answered"),
            &["method", "route", "status"],
        );
        let seconds = HistogramVec::new(
            HistogramOpts::new(
                "heeltap_http_request_duration_seconds",
                "How long requests took, from the door to the answer",
            )
            .buckets(SECONDS.to_vec()),
            &["method", "route"],
        );
        let in_use = IntGauge::new(
            "heeltap_db_connections_in_use",
            "Database connections that are in use",
        );
        let open = IntGauge::new(
            "heeltap_db_connections_open",
            "Database connections that are open",
        );
        Ok(Self {
            requests: registered(&registry, requests)?,
            seconds: registered(&registry, seconds)?,
            connections_in_use: registered(&registry, in_use)?,
            connections_open: registered(&registry, open)?,
            registry,
        })
    }

    /// Where rooms add what they count.
    #[must_use]
    pub fn registry(&self) -> &Registry {
        &self.registry
    }

    /// Counts a request.
    pub(super) fn answered(&self, method: &str, route: Option<Route>, status: u16, took: Duration) {
        let method = METHODS
            .into_iter()
            .find(|known| *known == method)
            .unwrap_or("other");
        let route = route.map_or(NO_ROUTE, |route| route.0);
        self.requests
            .with_label_values(&[method, route, &status.to_string()])
            .inc();
        self.seconds
            .with_label_values(&[method, route])
            .observe(took.as_secs_f64());
    }

    /// Everything as text, with the state of the pool as it is now.
    ///
    /// # Errors
    /// [`Error::Internal`] when it cannot be written.
    pub fn text(&self, db: &Db) -> Result<String, Error> {
        let (in_use, open) = db.usage();
        self.connections_in_use.set(in_use.into());
        self.connections_open.set(open.into());
        TextEncoder::new()
            .encode_to_string(&self.registry.gather())
            .map_err(|error| Error::internal(format!("metrics cannot be written: {error}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::fixture::on_database;

    #[test]
    fn requests_are_counted_by_what_the_table_knows() {
        on_database(|db| {
            let metrics = Metrics::new().unwrap();
            let route = Some(Route("/v1/lots/{id}"));
            let took = Duration::from_millis(3);
            metrics.answered("GET", route, 200, took);
            metrics.answered("GET", route, 200, took);
            metrics.answered("BREW", None, 404, took);
            let text = metrics.text(&db).unwrap();
            for line in [
                r#"heeltap_http_requests_total{method="GET",route="/v1/lots/{id}",status="200"} 2"#,
                r#"heeltap_http_requests_total{method="other",route="none",status="404"} 1"#,
                r#"heeltap_http_request_duration_seconds_bucket{method="GET",route="/v1/lots/{id}",le="0.0025"} 0"#,
                r#"heeltap_http_request_duration_seconds_bucket{method="GET",route="/v1/lots/{id}",le="0.005"} 2"#,
                "# TYPE heeltap_db_connections_open gauge",
            ] {
                assert!(text.lines().any(|found| found == line), "{line}\n{text}");
            }
        });
    }

    #[test]
    fn a_name_is_registered_once() {
        let registry = Registry::new();
        let gauge = || IntGauge::new("heeltap_test", "A test");
        assert!(registered(&registry, gauge()).is_ok());
        assert!(matches!(
            registered(&registry, gauge()),
            Err(Error::Internal(_))
        ));
    }
}
