//! Loading what the shelf shows, in a handful of statements.

use std::collections::HashMap;

use crate::base::{Error, Quantity};
use crate::casting::life::booked::{BookedCast, casts_booked};
use crate::db::AnyConnection;
use crate::http::{Page, Service};
use crate::reorder::judge::Judgement;
use crate::reorder::material_facts::MaterialBooks;
use crate::reorder::{forecast_settings, standing};
use crate::stock::load::packs_received;
use crate::stock::warnings::{Warning, warnings_list};

/// The most warnings that are shown; the list of warnings has all of them.
const WARNINGS_MAX: i64 = 200;
/// How many days back a booked cast is looked for that was never poured.
const CASTS_BACK_DAYS: u64 = 60;

/// What the shelf is made of.
pub(super) struct Facts {
    /// Every material in use.
    pub(super) materials: Vec<(MaterialBooks, Judgement)>,
    /// What each pack held when it came.
    pub(super) received: HashMap<i64, Quantity>,
    /// The open warnings.
    pub(super) warnings: Vec<Warning>,
    /// The casts that are booked, those of days gone by too.
    pub(super) casts: Vec<BookedCast>,
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
    let page = Page {
        after: 0,
        limit: WARNINGS_MAX,
    };
    let back = day.0 - chrono::Days::new(CASTS_BACK_DAYS);
    Ok(Facts {
        received: packs_received(conn, &ids)?,
        materials,
        warnings: warnings_list(conn, true, page)?,
        casts: casts_booked(conn, back)?,
    })
}
