//! Loading the casts of the list, in a handful of statements.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::base::{Currency, Error};
use crate::casting::life::booked::{BookedCast, casts_booked};
use crate::casting::life::view::{CastView, casts_demolded_last, casts_list};
use crate::catalogue::recipe_all;
use crate::db::AnyConnection;

/// The most casts shown that wait to be demoulded.
const POURED_MAX: i64 = 200;
/// How many of those that are demoulded are shown.
const DEMOLDED_SHOWN: i64 = 30;

/// What the list is made of.
pub(super) struct Facts {
    /// All that are booked, by day.
    pub(super) booked: Vec<BookedCast>,
    /// Those that are poured, in the order of booking.
    pub(super) poured: Vec<CastView>,
    /// The last ones that are demoulded, the latest first.
    pub(super) demolded: Vec<CastView>,
    /// The recipes' names by code.
    pub(super) recipes: HashMap<String, String>,
}

/// Loads them.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn facts(conn: &mut AnyConnection, currency: Currency) -> Result<Facts, Error> {
    let recipes = recipe_all(conn)?.into_iter();
    Ok(Facts {
        // From before all books: a cast whose day is long gone still waits.
        booked: casts_booked(conn, NaiveDate::default())?,
        poured: casts_list(conn, (Some("poured"), None), (0, POURED_MAX), currency)?,
        demolded: casts_demolded_last(conn, DEMOLDED_SHOWN, currency)?,
        recipes: recipes
            .map(|entry| (entry.code.to_string(), entry.name))
            .collect(),
    })
}
