//! Where lots came from and where they went.

use std::collections::HashMap;

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::{Error, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{lots, order_lines, orders, packs, reservations, treatment_vials};

/// A lot with what it came by.
#[derive(Debug, Clone, Queryable)]
pub(in crate::stock) struct OriginRow {
    pub(in crate::stock) id: i64,
    pub(in crate::stock) material_id: i64,
    pub(in crate::stock) code: String,
    pub(in crate::stock) kit_lot: Option<String>,
    pub(in crate::stock) supplier_id: Option<i64>,
    pub(in crate::stock) funded_by_id: Option<i64>,
    pub(in crate::stock) received_on: NaiveDate,
    pub(in crate::stock) expires_on: Option<NaiveDate>,
    pub(in crate::stock) order: Option<String>,
    pub(in crate::stock) line_no: Option<String>,
}

/// Lots with the lines of orders that brought them, in the order of their ids.
pub(in crate::stock) fn lot_origins(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
) -> Result<Vec<OriginRow>, Error> {
    Ok(lots::table
        .left_join(order_lines::table.inner_join(orders::table))
        .filter(lots::id.eq_any(lot_ids))
        .order(lots::id)
        .select((
            lots::id,
            lots::material_id,
            lots::code,
            lots::kit_lot,
            lots::supplier_id,
            lots::funded_by_id,
            lots::received_on,
            lots::expires_on,
            orders::code.nullable(),
            order_lines::line_no.nullable(),
        ))
        .load(conn)?)
}

/// The treatments whose vials left the stock by movements of a lot: movement and treatment.
pub(in crate::stock) fn treatments_of_movements(
    conn: &mut AnyConnection,
    movement_ids: &[i64],
) -> Result<HashMap<i64, i64>, Error> {
    let rows: Vec<(i64, i64)> = treatment_vials::table
        .filter(treatment_vials::movement_id.eq_any(movement_ids))
        .select((treatment_vials::movement_id, treatment_vials::treatment_id))
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// What of a lot is promised, or in use until a demould: cast, pack, quantity.
pub(in crate::stock) fn promised_of_lot(
    conn: &mut AnyConnection,
    lot_id: i64,
) -> Result<Vec<(i64, i64, Quantity)>, Error> {
    Ok(reservations::table
        .inner_join(packs::table)
        .filter(packs::lot_id.eq(lot_id))
        .filter(reservations::state.eq("active"))
        .order((reservations::cast_id, reservations::id))
        .select((
            reservations::cast_id,
            packs::id,
            reservations::quantity_micro,
        ))
        .load(conn)?)
}
