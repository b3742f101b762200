//! What the lab has learned: weighed residues, and chips counted.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Quantity};
use crate::db::schema::{casts, residue_observations};
use crate::db::{AnyConnection, sum_bigint};

/// A weighed residue to be kept.
#[derive(Debug, Clone, Insertable)]
#[diesel(table_name = residue_observations)]
pub(in crate::casting) struct NewObservation {
    pub(in crate::casting) cast_id: i64,
    pub(in crate::casting) batch_no: i32,
    pub(in crate::casting) cup_id: i64,
    pub(in crate::casting) elastomer_id: i64,
    #[diesel(column_name = film_micro)]
    pub(in crate::casting) film: Quantity,
    #[diesel(column_name = weighed_micro)]
    pub(in crate::casting) weighed: Quantity,
    pub(in crate::casting) observed_on: NaiveDate,
}

pub(in crate::casting) fn observations_insert(
    conn: &mut AnyConnection,
    rows: &[NewObservation],
) -> Result<(), Error> {
    for row in rows {
        diesel::insert_into(residue_observations::table)
            .values(row)
            .execute(conn)?;
    }
    Ok(())
}

/// Takes back what a cast taught.
pub(in crate::casting) fn observations_withdraw(
    conn: &mut AnyConnection,
    cast_id: i64,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(residue_observations::table.filter(residue_observations::cast_id.eq(cast_id)))
        .set(residue_observations::withdrawn_at.eq(Some(now)))
        .execute(conn)?;
    Ok(())
}

/// Film and weighed residue of a cup with an elastomer, in the order in which they were learned.
pub(in crate::casting) fn observations_fetch(
    conn: &mut AnyConnection,
    cup_id: i64,
    elastomer_id: i64,
) -> Result<Vec<(Quantity, Quantity)>, Error> {
    Ok(residue_observations::table
        .filter(residue_observations::cup_id.eq(cup_id))
        .filter(residue_observations::elastomer_id.eq(elastomer_id))
        .filter(residue_observations::withdrawn_at.is_null())
        .order(residue_observations::id)
        .select((
            residue_observations::film_micro,
            residue_observations::weighed_micro,
        ))
        .load(conn)?)
}

/// Good and rejected chips, counted.
pub(in crate::casting) type ChipSums = (i64, i64);

pub(in crate::casting) fn chips_of_recipe(
    conn: &mut AnyConnection,
    recipe_id: i64,
) -> Result<ChipSums, Error> {
    Ok(casts::table
        .filter(casts::state.eq("demolded"))
        .filter(casts::recipe_id.eq(recipe_id))
        .select((sum_bigint("good_chips"), sum_bigint("rejected_chips")))
        .get_result(conn)?)
}

pub(in crate::casting) fn chips_of_all(conn: &mut AnyConnection) -> Result<ChipSums, Error> {
    Ok(casts::table
        .filter(casts::state.eq("demolded"))
        .select((sum_bigint("good_chips"), sum_bigint("rejected_chips")))
        .get_result(conn)?)
}
