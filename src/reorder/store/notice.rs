//! What was planned and what was refused, with how long before its day.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::dsl::exists;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{cast_needs, casts, refused_bookings, refused_demand};
use crate::reorder::notice::{PlannedDemand, RefusedDemand, notice_days};

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
    let booked_after_all = exists(
        casts::table
            .filter(casts::recipe_id.eq(refused_bookings::recipe_id))
            .filter(casts::cast_on.eq(refused_bookings::cast_on))
            .filter(casts::booked_at.ge(refused_bookings::refused_at))
            .filter(casts::state.ne("cancelled")),
    );
    type Row = (i64, i64, NaiveDate, NaiveDateTime, i64, bool);
    let rows: Vec<Row> = refused_demand::table
        .inner_join(refused_bookings::table)
        .filter(refused_demand::material_id.eq_any(material_ids))
        .filter(refused_bookings::cast_on.ge(from))
        .order((refused_demand::material_id, refused_bookings::id))
        .select((
            refused_demand::material_id,
            refused_bookings::recipe_id,
            refused_bookings::cast_on,
            refused_bookings::refused_at,
            refused_demand::quantity_micro,
            booked_after_all,
        ))
        .load(conn)?;
    let mut found: HashMap<i64, Vec<RefusedDemand>> = HashMap::new();
    for (material_id, recipe_id, on, refused_at, quantity_micro, booked_after_all) in rows {
        found.entry(material_id).or_default().push(RefusedDemand {
            recipe_id,
            on,
            notice_days: notice_days(refused_at.date(), on),
            quantity_micro,
            booked_after_all,
        });
    }
    Ok(found)
}
