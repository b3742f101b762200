//! Release coats: the pool of each copy, the treatments that made them, and the looks that were taken at them.

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Money, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{
    casts, catalogue_entries, coat_inspections, cost_pools, lots, movements, treatment_vials,
    treatments,
};

/// A coat of a copy.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = cost_pools)]
pub(in crate::casting) struct CoatRow {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) mold_id: i64,
    pub(in crate::casting) copy_no: Option<i32>,
    #[diesel(column_name = remaining_value_micro)]
    pub(in crate::casting) value: Money,
    #[diesel(column_name = remaining_uses)]
    pub(in crate::casting) uses: i64,
    pub(in crate::casting) treatment_id: Option<i64>,
    pub(in crate::casting) replaces_id: Option<i64>,
    pub(in crate::casting) closed_on: Option<NaiveDate>,
}

/// The present coats of a mould's copies, in the order of the copies.
pub(in crate::casting) fn coats_present(
    conn: &mut AnyConnection,
    mold_id: i64,
) -> Result<Vec<CoatRow>, Error> {
    Ok(cost_pools::table
        .filter(cost_pools::mold_id.eq(mold_id))
        .filter(cost_pools::kind.eq("coat"))
        .filter(cost_pools::closed_on.is_null())
        .order(cost_pools::copy_no)
        .select(CoatRow::as_select())
        .load(conn)?)
}

/// A coat to be opened.
#[derive(Debug, Clone, Insertable)]
#[diesel(table_name = cost_pools)]
pub(in crate::casting) struct NewCoat {
    pub(in crate::casting) kind: &'static str,
    pub(in crate::casting) mold_id: i64,
    pub(in crate::casting) copy_no: Option<i32>,
    pub(in crate::casting) treatment_id: Option<i64>,
    pub(in crate::casting) replaces_id: Option<i64>,
    pub(in crate::casting) opened_on: NaiveDate,
}

pub(in crate::casting) fn coat_open(
    conn: &mut AnyConnection,
    coat: &NewCoat,
) -> Result<i64, Error> {
    Ok(diesel::insert_into(cost_pools::table)
        .values(coat)
        .returning(cost_pools::id)
        .get_result(conn)?)
}

/// Closes a coat on a day, or opens it again.
pub(in crate::casting) fn coat_close(
    conn: &mut AnyConnection,
    id: i64,
    on: Option<NaiveDate>,
) -> Result<(), Error> {
    diesel::update(cost_pools::table.find(id))
        .set(cost_pools::closed_on.eq(on))
        .execute(conn)?;
    Ok(())
}

pub(in crate::casting) fn coat_fetch(conn: &mut AnyConnection, id: i64) -> Result<CoatRow, Error> {
    Ok(cost_pools::table
        .find(id)
        .select(CoatRow::as_select())
        .first(conn)?)
}

/// A treatment as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = treatments)]
pub(in crate::casting) struct TreatmentRow {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) treated_on: NaiveDate,
    pub(in crate::casting) release_agent_id: i64,
    pub(in crate::casting) vials: i32,
    pub(in crate::casting) cast_id: Option<i64>,
    pub(in crate::casting) at_pour: bool,
    pub(in crate::casting) note: String,
    pub(in crate::casting) actor: String,
    pub(in crate::casting) recorded_at: NaiveDateTime,
    pub(in crate::casting) undone_at: Option<NaiveDateTime>,
    pub(in crate::casting) undone_by: Option<String>,
}

/// A treatment to be kept.
#[derive(Debug, Clone, Insertable)]
#[diesel(table_name = treatments)]
pub(in crate::casting) struct NewTreatment<'a> {
    pub(in crate::casting) treated_on: NaiveDate,
    pub(in crate::casting) release_agent_id: i64,
    pub(in crate::casting) vials: i32,
    pub(in crate::casting) cast_id: Option<i64>,
    pub(in crate::casting) at_pour: bool,
    pub(in crate::casting) note: &'a str,
    pub(in crate::casting) actor: &'a str,
    pub(in crate::casting) recorded_at: NaiveDateTime,
}

/// Keeps a treatment with the movements by which its vials left the stock. Returns its id.
pub(in crate::casting) fn treatment_insert(
    conn: &mut AnyConnection,
    treatment: &NewTreatment<'_>,
    movement_ids: &[i64],
) -> Result<i64, Error> {
    let id: i64 = diesel::insert_into(treatments::table)
        .values(treatment)
        .returning(treatments::id)
        .get_result(conn)?;
    for movement_id in movement_ids {
        let row = (
            treatment_vials::movement_id.eq(*movement_id),
            treatment_vials::treatment_id.eq(id),
        );
        diesel::insert_into(treatment_vials::table)
            .values(row)
            .execute(conn)?;
    }
    Ok(id)
}

pub(in crate::casting) fn treatment_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<TreatmentRow>, Error> {
    Ok(treatments::table
        .find(id)
        .select(TreatmentRow::as_select())
        .first(conn)
        .optional()?)
}

/// The treatments that a cast's pour recorded and that stand, the latest first.
pub(in crate::casting) fn treatments_at_pour(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<Vec<TreatmentRow>, Error> {
    Ok(treatments::table
        .filter(treatments::cast_id.eq(cast_id))
        .filter(treatments::at_pour.eq(true))
        .filter(treatments::undone_at.is_null())
        .order(treatments::id.desc())
        .select(TreatmentRow::as_select())
        .load(conn)?)
}

/// Treatments with ids above `after`, those of one mould if said, oldest first.
pub(in crate::casting) fn treatments_page(
    conn: &mut AnyConnection,
    mold_id: Option<i64>,
    (after, limit): (i64, i64),
) -> Result<Vec<TreatmentRow>, Error> {
    let mut query = treatments::table
        .filter(treatments::id.gt(after))
        .into_boxed();
    if let Some(mold_id) = mold_id {
        let of_mold = cost_pools::table
            .filter(cost_pools::mold_id.eq(mold_id))
            .filter(cost_pools::treatment_id.is_not_null())
            .select(cost_pools::treatment_id.assume_not_null());
        query = query.filter(treatments::id.eq_any(of_mold));
    }
    Ok(query
        .order(treatments::id)
        .limit(limit)
        .select(TreatmentRow::as_select())
        .load(conn)?)
}

pub(in crate::casting) fn treatment_undone(
    conn: &mut AnyConnection,
    id: i64,
    (actor, now): (&str, NaiveDateTime),
) -> Result<(), Error> {
    diesel::update(treatments::table.find(id))
        .set((
            treatments::undone_at.eq(Some(now)),
            treatments::undone_by.eq(Some(actor)),
        ))
        .execute(conn)?;
    Ok(())
}

/// The coats that treatments made, with the codes of their moulds, in the order in which they were made.
pub(in crate::casting) fn coats_of_treatments(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<(CoatRow, String)>, Error> {
    Ok(cost_pools::table
        .inner_join(catalogue_entries::table)
        .filter(cost_pools::treatment_id.eq_any(ids))
        .order(cost_pools::id)
        .select((CoatRow::as_select(), catalogue_entries::code))
        .load(conn)?)
}

/// A vial, or several of one pack, as a treatment took it.
#[derive(Debug, Clone)]
pub(in crate::casting) struct VialRow {
    pub(in crate::casting) treatment_id: i64,
    pub(in crate::casting) movement_id: i64,
    pub(in crate::casting) lot_id: i64,
    pub(in crate::casting) lot: String,
    pub(in crate::casting) pack_id: Option<i64>,
    pub(in crate::casting) quantity: Quantity,
    pub(in crate::casting) value: Money,
}

/// The vials of treatments, in the order in which they were taken.
pub(in crate::casting) fn vials_of_treatments(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<VialRow>, Error> {
    type Row = (i64, i64, i64, String, Option<i64>, Quantity, Money);
    let rows: Vec<Row> = treatment_vials::table
        .inner_join(movements::table)
        .inner_join(lots::table.on(lots::id.eq(movements::lot_id)))
        .filter(treatment_vials::treatment_id.eq_any(ids))
        .order(treatment_vials::movement_id)
        .select((
            treatment_vials::treatment_id,
            treatment_vials::movement_id,
            movements::lot_id,
            lots::code,
            movements::pack_id,
            movements::quantity_micro,
            movements::value_micro,
        ))
        .load(conn)?;
    rows.into_iter()
        .map(|row| {
            Ok(VialRow {
                treatment_id: row.0,
                movement_id: row.1,
                lot_id: row.2,
                lot: row.3,
                pack_id: row.4,
                quantity: row.5.checked_neg()?,
                value: row.6.checked_neg()?,
            })
        })
        .collect()
}

/// A look at a coat.
#[derive(Debug, Clone, Queryable, Selectable, Insertable)]
#[diesel(table_name = coat_inspections)]
pub(in crate::casting) struct Inspection {
    pub(in crate::casting) pool_id: i64,
    pub(in crate::casting) inspected_on: NaiveDate,
    pub(in crate::casting) seen: bool,
    pub(in crate::casting) note: String,
    pub(in crate::casting) actor: String,
    pub(in crate::casting) recorded_at: NaiveDateTime,
}

pub(in crate::casting) fn inspection_insert(
    conn: &mut AnyConnection,
    inspection: &Inspection,
) -> Result<(), Error> {
    diesel::insert_into(coat_inspections::table)
        .values(inspection)
        .execute(conn)?;
    Ok(())
}

/// The looks taken at coats, in the order in which they were recorded.
pub(in crate::casting) fn inspections_fetch(
    conn: &mut AnyConnection,
    pool_ids: &[i64],
) -> Result<Vec<Inspection>, Error> {
    Ok(coat_inspections::table
        .filter(coat_inspections::pool_id.eq_any(pool_ids))
        .order(coat_inspections::id)
        .select(Inspection::as_select())
        .load(conn)?)
}

/// A booked cast as the coats of its mould see it.
#[derive(Debug, Clone, Queryable)]
pub(in crate::casting) struct BookedOnMold {
    pub(in crate::casting) id: i64,
    pub(in crate::casting) code: String,
    pub(in crate::casting) cast_on: NaiveDate,
    pub(in crate::casting) containers: i32,
    pub(in crate::casting) facts: String,
}

/// The booked casts of a mould, by their day and then by when they were booked.
pub(in crate::casting) fn booked_on_mold(
    conn: &mut AnyConnection,
    mold_id: i64,
) -> Result<Vec<BookedOnMold>, Error> {
    Ok(casts::table
        .filter(casts::mold_id.eq(mold_id))
        .filter(casts::state.eq("booked"))
        .order((casts::cast_on, casts::id))
        .select((
            casts::id,
            casts::code,
            casts::cast_on,
            casts::containers,
            casts::facts,
        ))
        .load(conn)?)
}

/// The ids of a mould's booked casts.
pub(in crate::casting) fn booked_ids_on_mold(
    conn: &mut AnyConnection,
    mold_id: i64,
) -> Result<Vec<i64>, Error> {
    Ok(casts::table
        .filter(casts::mold_id.eq(mold_id))
        .filter(casts::state.eq("booked"))
        .select(casts::id)
        .load(conn)?)
}
