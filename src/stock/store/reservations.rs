//! Promises to booked casts, and what those casts need.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{cast_charges, cast_needs, casts, reservations};
use crate::stock::needs::{Need, Purpose};
use crate::stock::picking::PickRules;
use crate::stock::repicking::{BookedCast, Held, Promise};

/// A need of a cast as it is kept.
#[derive(Debug, Clone, Queryable, Selectable, Insertable)]
#[diesel(table_name = cast_needs)]
pub(in crate::stock) struct NeedRow {
    pub(in crate::stock) cast_id: i64,
    pub(in crate::stock) material_id: i64,
    pub(in crate::stock) purpose: String,
    pub(in crate::stock) batch_no: i32,
    #[diesel(column_name = quantity_micro)]
    pub(in crate::stock) quantity: Quantity,
    #[diesel(column_name = piece_micro)]
    pub(in crate::stock) piece: Quantity,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = casts)]
struct BookedRow {
    id: i64,
    short: bool,
    cast_on: NaiveDate,
    allow_mixed_kits: bool,
    allow_cross_charge: bool,
}

pub(super) fn purpose(word: &str) -> Result<Purpose, Error> {
    Purpose::from_word(word)
        .ok_or_else(|| Error::internal(format!("the purpose `{word}` is unknown")))
}

pub(in crate::stock) fn needs_insert(
    conn: &mut AnyConnection,
    cast_id: i64,
    needs: &[Need],
) -> Result<(), Error> {
    for need in needs {
        let row = NeedRow {
            cast_id,
            material_id: need.material_id,
            purpose: need.purpose.as_str().to_owned(),
            batch_no: need.batch_no,
            quantity: need.quantity,
            piece: need.piece,
        };
        diesel::insert_into(cast_needs::table)
            .values(row)
            .execute(conn)?;
    }
    Ok(())
}

/// Forgets what a cast needs for a purpose.
pub(in crate::stock) fn needs_delete(
    conn: &mut AnyConnection,
    cast_id: i64,
    purpose: Purpose,
) -> Result<(), Error> {
    diesel::delete(
        cast_needs::table
            .filter(cast_needs::cast_id.eq(cast_id))
            .filter(cast_needs::purpose.eq(purpose.as_str())),
    )
    .execute(conn)?;
    Ok(())
}

pub(in crate::stock) fn needs_of(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<Need>>, Error> {
    let rows: Vec<NeedRow> = cast_needs::table
        .filter(cast_needs::cast_id.eq_any(cast_ids))
        .order(cast_needs::id)
        .select(NeedRow::as_select())
        .load(conn)?;
    let mut needs: HashMap<i64, Vec<Need>> = HashMap::new();
    for row in rows {
        needs.entry(row.cast_id).or_default().push(Need {
            material_id: row.material_id,
            purpose: purpose(&row.purpose)?,
            batch_no: row.batch_no,
            quantity: row.quantity,
            piece: row.piece,
        });
    }
    Ok(needs)
}

pub(in crate::stock) fn reservation_insert(
    conn: &mut AnyConnection,
    promise: &Promise,
    now: NaiveDateTime,
) -> Result<(), Error> {
    let row = (
        reservations::cast_id.eq(promise.cast_id),
        reservations::pack_id.eq(promise.pack_id),
        reservations::purpose.eq(promise.purpose.as_str()),
        reservations::batch_no.eq(promise.batch_no),
        reservations::quantity_micro.eq(promise.quantity),
        reservations::state.eq("active"),
        reservations::created_at.eq(now),
    );
    diesel::insert_into(reservations::table)
        .values(row)
        .execute(conn)?;
    Ok(())
}

/// Resolves active reservations as `consumed` or `released`.
pub(in crate::stock) fn reservations_resolve(
    conn: &mut AnyConnection,
    ids: &[i64],
    state: &'static str,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(reservations::table.filter(reservations::id.eq_any(ids)))
        .set((
            reservations::state.eq(state),
            reservations::resolved_at.eq(Some(now)),
        ))
        .execute(conn)?;
    Ok(())
}

/// The active promises of casts.
pub(in crate::stock) fn reservations_active(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<Held>>, Error> {
    let rows: Vec<(i64, i64, i64, String, i32, Quantity)> = reservations::table
        .filter(reservations::cast_id.eq_any(cast_ids))
        .filter(reservations::state.eq("active"))
        .order(reservations::id)
        .select((
            reservations::cast_id,
            reservations::id,
            reservations::pack_id,
            reservations::purpose,
            reservations::batch_no,
            reservations::quantity_micro,
        ))
        .load(conn)?;
    let mut held: HashMap<i64, Vec<Held>> = HashMap::new();
    for (cast_id, reservation_id, pack_id, word, batch_no, quantity) in rows {
        held.entry(cast_id).or_default().push(Held {
            reservation_id,
            pack_id,
            purpose: purpose(&word)?,
            batch_no,
            quantity,
        });
    }
    Ok(held)
}

/// Every booked cast that needs one of the materials, with its needs and promises of these materials' purposes.
pub(in crate::stock) fn casts_booked(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<Vec<BookedCast>, Error> {
    let rows: Vec<BookedRow> = casts::table
        .filter(casts::state.eq("booked"))
        .filter(
            casts::id.eq_any(
                cast_needs::table
                    .filter(cast_needs::material_id.eq_any(material_ids))
                    .select(cast_needs::cast_id),
            ),
        )
        .order(casts::id)
        .select(BookedRow::as_select())
        .load(conn)?;
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut needs = needs_of(conn, &ids)?;
    let mut held = reservations_active(conn, &ids)?;
    let mut grants = charges_of(conn, &ids)?;
    Ok(rows
        .into_iter()
        .map(|row| BookedCast {
            cast_id: row.id,
            short: row.short,
            rules: PickRules {
                day: row.cast_on,
                grants: grants.remove(&row.id).unwrap_or_default(),
                allow_mixed_kits: row.allow_mixed_kits,
                allow_cross_charge: row.allow_cross_charge,
            },
            needs: needs.remove(&row.id).unwrap_or_default(),
            held: held.remove(&row.id).unwrap_or_default(),
        })
        .collect())
}

/// The grants each cast is charged to.
pub(in crate::stock) fn charges_of(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<i64>>, Error> {
    let rows: Vec<(i64, i64)> = cast_charges::table
        .filter(cast_charges::cast_id.eq_any(cast_ids))
        .order((cast_charges::cast_id, cast_charges::grant_id))
        .select((cast_charges::cast_id, cast_charges::grant_id))
        .load(conn)?;
    let mut grants: HashMap<i64, Vec<i64>> = HashMap::new();
    for (cast_id, grant_id) in rows {
        grants.entry(cast_id).or_default().push(grant_id);
    }
    Ok(grants)
}

/// Marks a cast short, or no longer short. Returns its code and its day.
pub(in crate::stock) fn cast_short_set(
    conn: &mut AnyConnection,
    cast_id: i64,
    short: bool,
) -> Result<(String, NaiveDate), Error> {
    diesel::update(casts::table.find(cast_id))
        .set((
            casts::short.eq(short),
            casts::version.eq(casts::version + 1),
        ))
        .execute(conn)?;
    Ok(casts::table
        .find(cast_id)
        .select((casts::code, casts::cast_on))
        .first(conn)?)
}
