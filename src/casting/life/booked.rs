//! The casts that are booked, as those read them who tell others of them.
//!
//! Deliberately absent: their plans and packs (`view` has all of a cast).

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::base::Error;
use crate::casting::store;
use crate::catalogue::codes_by_ids;
use crate::db::AnyConnection;

/// A cast that is booked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BookedCast {
    /// Its code.
    pub code: String,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// The recipe's code.
    pub recipe: String,
    /// The recipe's name.
    pub recipe_name: String,
    /// How many trays.
    pub containers: i32,
    /// Whether it holds less than it needs.
    pub short: bool,
    /// Who booked it.
    pub booked_by: String,
    /// How often it was changed, and 1.
    pub version: i64,
}

/// The casts that are booked for `from` or a later day, by day and in the order in which they were booked.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn casts_booked(conn: &mut AnyConnection, from: NaiveDate) -> Result<Vec<BookedCast>, Error> {
    let rows = store::casts_booked_from(conn, from)?;
    let mut recipes: Vec<i64> = rows.iter().map(|row| row.recipe_id).collect();
    recipes.sort_unstable();
    recipes.dedup();
    let named = codes_by_ids(conn, &recipes)?;
    let shown = |row: store::BookedRow| {
        let (recipe, recipe_name) = named
            .get(&row.recipe_id)
            .map(|(code, name)| (code.to_string(), name.clone()))
            .ok_or_else(|| Error::internal(format!("cast {} has no recipe", row.code)))?;
        Ok(BookedCast {
            code: row.code,
            cast_on: row.cast_on,
            recipe,
            recipe_name,
            containers: row.containers,
            short: row.short,
            booked_by: row.booked_by,
            version: row.version,
        })
    };
    rows.into_iter().map(shown).collect()
}
