//! What was planned and what was refused, with how long before its day.

use std::collections::{BTreeSet, HashMap};

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{cast_needs, casts, refused_bookings, refused_demand};
use crate::reorder::notice::{PlannedDemand, RecipeBooking, RefusedDemand, notice_days};

/// What casts poured on or after a day had planned of each material.
pub(in crate::reorder) fn planned(
    conn: &mut AnyConnection,
    material_ids: &[i64],
    from: NaiveDate,
) -> Result<HashMap<i64, Vec<PlannedDemand>>, Error> {
    let rows: Vec<(i64, NaiveDate, NaiveDateTime, i64)> = cast_needs::table
        .inner_join(casts::table)
        .filter(cast_needs::material_id.eq_any(material_ids))
        .filter(casts::poured_on.ge(from))
        .select((
            cast_needs::material_id,
            casts::poured_on.assume_not_null(),
            casts::booked_at,
            cast_needs::quantity_micro,
        ))
        .load(conn)?;
    let mut found: HashMap<i64, Vec<PlannedDemand>> = HashMap::new();
    for (material_id, on, booked_at, quantity_micro) in rows {
        found.entry(material_id).or_default().push(PlannedDemand {
            on,
            notice_days: notice_days(booked_at.date(), on),
            quantity_micro,
        });
    }
    Ok(found)
}

/// What bookings that were refused, for a day from `from` on, would have used of each material.
pub(in crate::reorder) fn refused(
    conn: &mut AnyConnection,
    material_ids: &[i64],
    from: NaiveDate,
) -> Result<HashMap<i64, Vec<RefusedDemand>>, Error> {
    let rows: Vec<(i64, i64, NaiveDateTime, NaiveDate, i64)> = refused_demand::table
        .inner_join(refused_bookings::table)
        .filter(refused_demand::material_id.eq_any(material_ids))
        .filter(refused_bookings::cast_on.ge(from))
        .order((refused_demand::material_id, refused_bookings::id))
        .select((
            refused_demand::material_id,
            refused_bookings::recipe_id,
            refused_bookings::refused_at,
            refused_bookings::cast_on,
            refused_demand::quantity_micro,
        ))
        .load(conn)?;
    let mut found: HashMap<i64, Vec<RefusedDemand>> = HashMap::new();
    for (material_id, recipe_id, refused_at, on, quantity_micro) in rows {
        found.entry(material_id).or_default().push(RefusedDemand {
            recipe_id,
            refused_at,
            on,
            quantity_micro,
        });
    }
    Ok(found)
}

/// The casts of some recipes that were not cancelled.
pub(in crate::reorder) fn bookings_of_recipes(
    conn: &mut AnyConnection,
    recipe_ids: &BTreeSet<i64>,
) -> Result<Vec<RecipeBooking>, Error> {
    if recipe_ids.is_empty() {
        return Ok(Vec::new());
    }
    let rows: Vec<(i64, NaiveDateTime, NaiveDate)> = casts::table
        .filter(casts::recipe_id.eq_any(recipe_ids))
        .filter(casts::state.ne("cancelled"))
        .select((casts::recipe_id, casts::booked_at, casts::cast_on))
        .load(conn)?;
    let booking = |(recipe_id, booked_at, on)| RecipeBooking {
        recipe_id,
        booked_at,
        on,
    };
    Ok(rows.into_iter().map(booking).collect())
}
