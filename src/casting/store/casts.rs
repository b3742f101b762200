//! Casts, their charges, and bookings that were refused.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::BigInt;

use crate::base::{Code, Error, Micro, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{
    cast_charges, casts, catalogue_entries, lots, packs, refused_bookings, refused_demand,
    reservations,
};

/// A cast as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = casts)]
pub(in crate::casting) struct CastRow {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) code: String,
    pub(in crate::casting) state: String,
    pub(in crate::casting) short: bool,
    pub(in crate::casting) cast_on: NaiveDate,
    pub(in crate::casting) request: String,
    pub(in crate::casting) facts: String,
    pub(in crate::casting) plan: String,
    pub(in crate::casting) booked_at: NaiveDateTime,
    pub(in crate::casting) booked_by: String,
    pub(in crate::casting) pour: Option<String>,
    pub(in crate::casting) poured_on: Option<NaiveDate>,
    pub(in crate::casting) poured_by: Option<String>,
    pub(in crate::casting) demold: Option<String>,
    pub(in crate::casting) demolded_on: Option<NaiveDate>,
    pub(in crate::casting) demolded_by: Option<String>,
    pub(in crate::casting) good_chips: Option<i64>,
    pub(in crate::casting) cancelled_at: Option<NaiveDateTime>,
    pub(in crate::casting) version: i64,
}

/// A cast to be kept.
#[derive(Debug, Insertable)]
#[diesel(table_name = casts)]
pub(in crate::casting) struct NewCast<'a> {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) code: &'a str,
    pub(in crate::casting) state: &'static str,
    pub(in crate::casting) short: bool,
    pub(in crate::casting) recipe_id: i64,
    pub(in crate::casting) mold_id: i64,
    pub(in crate::casting) containers: i32,
    pub(in crate::casting) cast_on: NaiveDate,
    pub(in crate::casting) allow_mixed_kits: bool,
    pub(in crate::casting) allow_cross_charge: bool,
    pub(in crate::casting) request: &'a str,
    pub(in crate::casting) facts: &'a str,
    pub(in crate::casting) plan: &'a str,
    pub(in crate::casting) booked_at: NaiveDateTime,
    pub(in crate::casting) booked_by: &'a str,
}

/// What a booked cast is when it was planned again.
#[derive(Debug, AsChangeset)]
#[diesel(table_name = casts)]
pub(in crate::casting) struct Replanned<'a> {
    pub(in crate::casting) short: bool,
    pub(in crate::casting) mold_id: i64,
    pub(in crate::casting) containers: i32,
    pub(in crate::casting) cast_on: NaiveDate,
    pub(in crate::casting) allow_mixed_kits: bool,
    pub(in crate::casting) allow_cross_charge: bool,
    pub(in crate::casting) request: &'a str,
    pub(in crate::casting) facts: &'a str,
    pub(in crate::casting) plan: &'a str,
}

/// Writes a booked cast as it was planned again, and who pays for it.
pub(in crate::casting) fn cast_replan(
    conn: &mut AnyConnection,
    id: i64,
    replanned: &Replanned<'_>,
    charges: &[(i64, Micro)],
) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((replanned, casts::version.eq(casts::version + 1)))
        .execute(conn)?;
    diesel::delete(cast_charges::table.filter(cast_charges::cast_id.eq(id))).execute(conn)?;
    charges_insert(conn, id, charges)
}

/// The id that the next cast will have, so that its code can carry it. Each id is given out once.
pub(in crate::casting) fn cast_next_id(conn: &mut AnyConnection) -> Result<i64, Error> {
    Ok(match conn {
        AnyConnection::Sqlite(conn) => {
            // The one writer holds the lock, so nobody else can be given the same number.
            let last: Option<i64> = diesel::select(sql::<diesel::sql_types::Nullable<BigInt>>(
                "(SELECT seq FROM sqlite_sequence WHERE name = 'casts')",
            ))
            .get_result(conn)?;
            last.unwrap_or(0) + 1
        }
        AnyConnection::Postgres(conn) => diesel::select(sql::<BigInt>(
            "nextval(pg_get_serial_sequence('casts', 'id'))",
        ))
        .get_result(conn)?,
    })
}

pub(in crate::casting) fn cast_insert(
    conn: &mut AnyConnection,
    cast: &NewCast<'_>,
) -> Result<(), Error> {
    diesel::insert_into(casts::table)
        .values(cast)
        .execute(conn)?;
    Ok(())
}

pub(in crate::casting) fn cast_by_code(
    conn: &mut AnyConnection,
    code: &str,
) -> Result<Option<CastRow>, Error> {
    Ok(casts::table
        .filter(casts::code.eq(code))
        .select(CastRow::as_select())
        .first(conn)
        .optional()?)
}

/// Locks casts in the order of their ids, after their materials. SQLite's one writer needs no more.
pub(in crate::casting) fn casts_lock(conn: &mut AnyConnection, ids: &[i64]) -> Result<(), Error> {
    if let AnyConnection::Postgres(conn) = conn {
        casts::table
            .filter(casts::id.eq_any(ids))
            .order(casts::id)
            .select(casts::id)
            .for_update()
            .load::<i64>(conn)?;
    }
    Ok(())
}

/// One page of casts, in one state or in all.
pub(in crate::casting) fn casts_page(
    conn: &mut AnyConnection,
    state: Option<&str>,
    recipe_id: Option<i64>,
    after: i64,
    limit: i64,
) -> Result<Vec<CastRow>, Error> {
    let mut query = casts::table.into_boxed();
    if let Some(state) = state {
        query = query.filter(casts::state.eq(state.to_owned()));
    }
    if let Some(recipe_id) = recipe_id {
        query = query.filter(casts::recipe_id.eq(recipe_id));
    }
    Ok(query
        .filter(casts::id.gt(after))
        .order(casts::id)
        .limit(limit)
        .select(CastRow::as_select())
        .load(conn)?)
}

pub(in crate::casting) fn charges_insert(
    conn: &mut AnyConnection,
    cast_id: i64,
    charges: &[(i64, Micro)],
) -> Result<(), Error> {
    for (grant_id, share) in charges {
        let row = (
            cast_charges::cast_id.eq(cast_id),
            cast_charges::grant_id.eq(*grant_id),
            cast_charges::share_micro.eq(*share),
        );
        diesel::insert_into(cast_charges::table)
            .values(row)
            .execute(conn)?;
    }
    Ok(())
}

/// A charge of a cast: grant id, grant code, share in per cent.
pub(in crate::casting) type ChargeRow = (i64, Code, Micro);

/// A cast's charges.
pub(in crate::casting) fn charges_fetch(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<Vec<ChargeRow>, Error> {
    Ok(charges_by_cast(conn, &[cast_id])?
        .remove(&cast_id)
        .unwrap_or_default())
}

/// The charges of several casts.
pub(in crate::casting) fn charges_by_cast(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<ChargeRow>>, Error> {
    let rows: Vec<(i64, i64, Code, Micro)> = cast_charges::table
        .inner_join(catalogue_entries::table)
        .filter(cast_charges::cast_id.eq_any(cast_ids))
        .order((cast_charges::cast_id, cast_charges::grant_id))
        .select((
            cast_charges::cast_id,
            cast_charges::grant_id,
            catalogue_entries::code,
            cast_charges::share_micro,
        ))
        .load(conn)?;
    let mut charges: HashMap<i64, Vec<ChargeRow>> = HashMap::new();
    for (cast_id, grant_id, code, share) in rows {
        charges
            .entry(cast_id)
            .or_default()
            .push((grant_id, code, share));
    }
    Ok(charges)
}

/// The codes of casts by their ids.
pub(in crate::casting) fn cast_codes(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<HashMap<i64, String>, Error> {
    let rows: Vec<(i64, String)> = casts::table
        .filter(casts::id.eq_any(ids))
        .select((casts::id, casts::code))
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

pub(in crate::casting) fn cast_pour(
    conn: &mut AnyConnection,
    id: i64,
    poured_on: NaiveDate,
    actor: &str,
    pour: &str,
) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((
            casts::state.eq("poured"),
            casts::short.eq(false),
            casts::pour.eq(Some(pour)),
            casts::poured_on.eq(Some(poured_on)),
            casts::poured_by.eq(Some(actor)),
            casts::version.eq(casts::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

pub(in crate::casting) fn cast_pour_undo(conn: &mut AnyConnection, id: i64) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((
            casts::state.eq("booked"),
            casts::pour.eq(None::<String>),
            casts::poured_on.eq(None::<NaiveDate>),
            casts::poured_by.eq(None::<String>),
            casts::version.eq(casts::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

/// What was counted at the demould.
#[derive(Debug, Clone, Copy)]
pub(in crate::casting) struct Counted<'a> {
    pub(in crate::casting) on: NaiveDate,
    pub(in crate::casting) good: i64,
    pub(in crate::casting) rejected: i64,
    pub(in crate::casting) record: &'a str,
}

pub(in crate::casting) fn cast_demold(
    conn: &mut AnyConnection,
    id: i64,
    actor: &str,
    counted: Counted<'_>,
) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((
            casts::state.eq("demolded"),
            casts::demold.eq(Some(counted.record)),
            casts::demolded_on.eq(Some(counted.on)),
            casts::demolded_by.eq(Some(actor)),
            casts::good_chips.eq(Some(counted.good)),
            casts::rejected_chips.eq(Some(counted.rejected)),
            casts::version.eq(casts::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

pub(in crate::casting) fn cast_demold_undo(conn: &mut AnyConnection, id: i64) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((
            casts::state.eq("poured"),
            casts::demold.eq(None::<String>),
            casts::demolded_on.eq(None::<NaiveDate>),
            casts::demolded_by.eq(None::<String>),
            casts::good_chips.eq(None::<i64>),
            casts::rejected_chips.eq(None::<i64>),
            casts::version.eq(casts::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

pub(in crate::casting) fn cast_cancel(
    conn: &mut AnyConnection,
    id: i64,
    now: NaiveDateTime,
) -> Result<(), Error> {
    diesel::update(casts::table.find(id))
        .set((
            casts::state.eq("cancelled"),
            casts::short.eq(false),
            casts::cancelled_at.eq(Some(now)),
            casts::version.eq(casts::version + 1),
        ))
        .execute(conn)?;
    Ok(())
}

/// A cast that is booked.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = casts)]
pub(in crate::casting) struct BookedRow {
    pub(in crate::casting) code: String,
    pub(in crate::casting) cast_on: NaiveDate,
    pub(in crate::casting) recipe_id: i64,
    pub(in crate::casting) containers: i32,
    pub(in crate::casting) short: bool,
    pub(in crate::casting) booked_by: String,
    pub(in crate::casting) version: i64,
}

/// The casts booked for a day or a later one, by day.
pub(in crate::casting) fn casts_booked_from(
    conn: &mut AnyConnection,
    from: NaiveDate,
) -> Result<Vec<BookedRow>, Error> {
    Ok(casts::table
        .filter(casts::state.eq("booked"))
        .filter(casts::cast_on.ge(from))
        .order((casts::cast_on, casts::id))
        .select(BookedRow::as_select())
        .load(conn)?)
}

/// The casts that were demoulded last, the latest first.
pub(in crate::casting) fn casts_demolded_last(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<Vec<CastRow>, Error> {
    Ok(casts::table
        .filter(casts::state.eq("demolded"))
        .order((casts::demolded_on.desc(), casts::id.desc()))
        .limit(limit)
        .select(CastRow::as_select())
        .load(conn)?)
}

/// A cast of a day: id, code, trays, the recipe as it was booked.
pub(in crate::casting) type CastOfDay = (i64, String, i32, String);

/// The casts that are booked for a day or were poured on it.
pub(in crate::casting) fn casts_of_day(
    conn: &mut AnyConnection,
    day: NaiveDate,
) -> Result<Vec<CastOfDay>, Error> {
    let booked = casts::state.eq("booked").and(casts::cast_on.eq(day));
    let poured = casts::poured_on.eq(day).assume_not_null();
    Ok(casts::table
        .filter(booked.or(poured))
        .order(casts::id)
        .select((casts::id, casts::code, casts::containers, casts::facts))
        .load(conn)?)
}

/// Promises to casts after a day, of the materials: pack, material, the cast's code, quantity.
pub(in crate::casting) fn promised_after(
    conn: &mut AnyConnection,
    material_ids: &[i64],
    day: NaiveDate,
) -> Result<Vec<(i64, i64, String, Quantity)>, Error> {
    Ok(reservations::table
        .inner_join(casts::table)
        .inner_join(packs::table.inner_join(lots::table))
        .filter(reservations::state.eq("active"))
        .filter(casts::state.eq("booked"))
        .filter(casts::cast_on.gt(day))
        .filter(lots::material_id.eq_any(material_ids))
        .order((casts::cast_on, casts::id, reservations::id))
        .select((
            packs::id,
            lots::material_id,
            casts::code,
            reservations::quantity_micro,
        ))
        .load(conn)?)
}

/// Notes a booking that was refused: what it lacked is demand.
pub(in crate::casting) fn refused_booking_insert(
    conn: &mut AnyConnection,
    (recipe_id, cast_on): (i64, NaiveDate),
    (actor, now): (&str, NaiveDateTime),
    detail: &str,
    demand: &[(i64, Quantity)],
) -> Result<(), Error> {
    let row = (
        refused_bookings::recipe_id.eq(recipe_id),
        refused_bookings::cast_on.eq(cast_on),
        refused_bookings::refused_at.eq(now),
        refused_bookings::actor.eq(actor),
        refused_bookings::detail.eq(detail),
    );
    let id: i64 = diesel::insert_into(refused_bookings::table)
        .values(row)
        .returning(refused_bookings::id)
        .get_result(conn)?;
    for (material_id, quantity) in demand {
        let row = (
            refused_demand::refused_booking_id.eq(id),
            refused_demand::material_id.eq(*material_id),
            refused_demand::quantity_micro.eq(*quantity),
        );
        diesel::insert_into(refused_demand::table)
            .values(row)
            .execute(conn)?;
    }
    Ok(())
}
