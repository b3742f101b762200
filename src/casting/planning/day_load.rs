//! Loading the other casts of a day.

use chrono::NaiveDate;

use super::day::{DayFacts, OtherCast, cast_load};
use crate::base::{Error, kept_read};
use crate::casting::store;
use crate::catalogue::RecipeFacts;
use crate::db::AnyConnection;

/// The casts that are booked for a day or were poured on it, on a working day of so many minutes.
///
/// # Errors
/// [`Error::Internal`] when a cast's snapshot does not read back.
pub(in crate::casting) fn day_facts(
    conn: &mut AnyConnection,
    day: NaiveDate,
    working_min: u32,
) -> Result<DayFacts, Error> {
    let mut others = Vec::new();
    for (cast_id, code, containers, facts) in store::casts_of_day(conn, day)? {
        let facts: RecipeFacts = kept_read(&facts).map_err(Error::internal)?;
        let containers = u32::try_from(containers).map_err(Error::internal)?;
        others.extend(cast_load(&facts, containers).map(|load| OtherCast {
            cast_id,
            code,
            mold: facts.mold.code.to_string(),
            load,
        }));
    }
    Ok(DayFacts {
        working_min,
        others,
    })
}
