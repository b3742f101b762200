//! Observed levels: what pours and demoulds taught about how much a tray takes.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Micro, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::fill_observations;

/// An observed level.
#[derive(Debug, Clone, Queryable, Selectable, Insertable)]
#[diesel(table_name = fill_observations)]
pub(in crate::casting) struct LevelRow {
    pub(in crate::casting) cast_id: i64,
    pub(in crate::casting) recipe_id: i64,
    /// `pour` or `demold`.
    pub(in crate::casting) source: String,
    /// What one tray was poured with, in mL.
    #[diesel(column_name = poured_micro)]
    pub(in crate::casting) poured_ml: Quantity,
    #[diesel(column_name = level_micro)]
    pub(in crate::casting) level_mm: Micro,
    #[diesel(column_name = chip_thickness_micro)]
    pub(in crate::casting) chip_thickness_mm: Micro,
    pub(in crate::casting) observed_on: NaiveDate,
}

pub(in crate::casting) fn level_insert(
    conn: &mut AnyConnection,
    row: &LevelRow,
) -> Result<(), Error> {
    diesel::insert_into(fill_observations::table)
        .values(row)
        .execute(conn)?;
    Ok(())
}

/// The observed levels of a recipe's casts that stand, in the order in which they were recorded.
pub(in crate::casting) fn levels_fetch(
    conn: &mut AnyConnection,
    recipe_id: i64,
) -> Result<Vec<LevelRow>, Error> {
    Ok(fill_observations::table
        .filter(fill_observations::recipe_id.eq(recipe_id))
        .filter(fill_observations::withdrawn_at.is_null())
        .order(fill_observations::id)
        .select(LevelRow::as_select())
        .load(conn)?)
}

/// Takes back what a step of a cast taught: `pour` or `demold`.
pub(in crate::casting) fn levels_withdraw(
    conn: &mut AnyConnection,
    (cast_id, source): (i64, &str),
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(
        fill_observations::table
            .filter(fill_observations::cast_id.eq(cast_id))
            .filter(fill_observations::source.eq(source))
            .filter(fill_observations::withdrawn_at.is_null()),
    )
    .set(fill_observations::withdrawn_at.eq(Some(now)))
    .execute(conn)?;
    Ok(())
}
