//! Loading what the shelf shows, in a handful of statements.

use std::collections::HashMap;

use chrono::Days;

use crate::base::{Error, Quantity};
use crate::casting::life::booked::{BookedCast, casts_booked};
use crate::db::AnyConnection;
use crate::http::Service;
use crate::reorder::judge::Judgement;
use crate::reorder::material_facts::MaterialBooks;
use crate::reorder::{forecast_settings, standing};
use crate::stock::counts_due::{CountDue, counts_due};
use crate::stock::load::packs_received;
use crate::stock::warnings::{Warning, warnings_to_see};

/// The most warnings that are shown; the rest is counted.
const WARNINGS_MAX: i64 = 100;
/// How many days back a booked cast is looked for that was never poured: as good as all of them.
const CASTS_BACK_DAYS: u64 = 3_650;

/// What the shelf is made of.
pub(super) struct Facts {
    /// Every material in use.
    pub(super) materials: Vec<(MaterialBooks, Judgement)>,
    /// What each pack held when it came.
    pub(super) received: HashMap<i64, Quantity>,
    /// The warnings that nobody has acknowledged, the gravest first.
    pub(super) warnings: Vec<Warning>,
    /// How many more there are.
    pub(super) warnings_more: i64,
    /// The casts that are booked, those of days gone by too.
    pub(super) casts: Vec<BookedCast>,
    /// The packs of which a count is due.
    pub(super) counts: Vec<CountDue>,
}

/// Loads them.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn facts(conn: &mut AnyConnection, service: &Service) -> Result<Facts, Error> {
    let day = (service.today(), service.base_currency());
    let materials: Vec<(MaterialBooks, Judgement)> =
        standing(conn, day, forecast_settings(service))?
            .into_iter()
            .filter_map(|one| Some((one.books?, one.judgement)))
            .collect();
    let ids: Vec<i64> = materials.iter().map(|(books, _)| books.entry.id).collect();
    let (warnings, count) = warnings_to_see(conn, WARNINGS_MAX)?;
    Ok(Facts {
        received: packs_received(conn, &ids)?,
        materials,
        warnings_more: (count - WARNINGS_MAX).max(0),
        warnings,
        casts: casts_booked(conn, day.0 - Days::new(CASTS_BACK_DAYS))?,
        counts: counts_due(conn, day.0)?,
    })
}
