//! What the database says of the work that waits, as metrics: looked at when they are asked for.

use prometheus::{IntGauge, IntGaugeVec, Opts, Registry};

use crate::base::Error;
use crate::db::AnyConnection;
use crate::http::metrics::registered;
use crate::notify::deliveries::{DeliveriesLeft, deliveries_left};
use crate::stock::warnings::{WarningsStanding, warnings_standing};

/// What is looked at.
pub(super) struct Waiting {
    warnings: WarningsStanding,
    deliveries: DeliveriesLeft,
}

/// Looks at all of it.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn waiting(conn: &mut AnyConnection) -> Result<Waiting, Error> {
    Ok(Waiting {
        warnings: warnings_standing(conn)?,
        deliveries: deliveries_left(conn)?,
    })
}

/// The gauges of it.
pub(super) struct Gauges {
    reachable: IntGauge,
    outbox: IntGaugeVec,
    warnings: IntGaugeVec,
}

impl Gauges {
    /// Nothing looked at yet.
    ///
    /// # Errors
    /// [`Error::Internal`] when they are registered already.
    pub(super) fn new(registry: &Registry) -> Result<Self, Error> {
        let reachable = IntGauge::new(
            "heeltap_db_reachable",
            "Whether the database answers: 1 or 0",
        );
        let outbox = IntGaugeVec::new(
            Opts::new(
                "heeltap_outbox_deliveries",
                "Deliveries of the outbox that wait or were given up, in the whole database",
            ),
            &["state"],
        );
        let warnings = IntGaugeVec::new(
            Opts::new(
                "heeltap_warnings",
                "Warnings that stand, in the whole database",
            ),
            &["state"],
        );
        Ok(Self {
            reachable: registered(registry, reachable)?,
            outbox: registered(registry, outbox)?,
            warnings: registered(registry, warnings)?,
        })
    }

    /// Takes over what was looked at. Of a database that does not answer nothing is told but that, rather than what it said
    /// some time ago.
    pub(super) fn set(&self, found: Option<&Waiting>) {
        self.outbox.reset();
        self.warnings.reset();
        self.reachable.set(found.is_some().into());
        let Some(found) = found else {
            return;
        };
        let states = [
            (&self.outbox, "waiting", found.deliveries.waiting),
            (&self.outbox, "dead", found.deliveries.dead),
            (&self.warnings, "open", found.warnings.open),
            (&self.warnings, "acknowledged", found.warnings.acknowledged),
        ];
        for (gauge, state, count) in states {
            gauge.with_label_values(&[state]).set(count);
        }
    }
}
