//! Lots: what one purchase line brought of one material.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::{Error, Money, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{catalogue_entries, lots, materials};
use crate::stock::heads::Head;
use crate::stock::ledger::LotBalance;

/// A lot as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = lots)]
pub(in crate::stock) struct LotRow {
    pub(in crate::stock) id: i64,
    pub(in crate::stock) material_id: i64,
    pub(in crate::stock) code: String,
    pub(in crate::stock) kit_lot: Option<String>,
    pub(in crate::stock) supplier_id: Option<i64>,
    pub(in crate::stock) funded_by_id: Option<i64>,
    pub(in crate::stock) received_on: NaiveDate,
    pub(in crate::stock) expires_on: Option<NaiveDate>,
    #[diesel(column_name = landed_cost_micro)]
    pub(in crate::stock) landed_cost: Money,
    #[diesel(column_name = on_hand_micro)]
    pub(in crate::stock) on_hand: Quantity,
    #[diesel(column_name = remaining_value_micro)]
    pub(in crate::stock) remaining_value: Money,
    pub(in crate::stock) head_seq: i64,
    pub(in crate::stock) head_hash: String,
    pub(in crate::stock) version: i64,
}

/// A lot to be kept.
#[derive(Debug, Insertable)]
#[diesel(table_name = lots)]
pub(in crate::stock) struct NewLot<'a> {
    pub(in crate::stock) material_id: i64,
    pub(in crate::stock) order_line_id: Option<i64>,
    pub(in crate::stock) code: &'a str,
    pub(in crate::stock) kit_lot: Option<&'a str>,
    pub(in crate::stock) kit_id: Option<i64>,
    pub(in crate::stock) supplier_id: Option<i64>,
    pub(in crate::stock) funded_by_id: Option<i64>,
    pub(in crate::stock) received_on: NaiveDate,
    pub(in crate::stock) expires_on: Option<NaiveDate>,
}

pub(in crate::stock) fn lot_insert(
    conn: &mut AnyConnection,
    lot: &NewLot<'_>,
) -> Result<i64, Error> {
    Ok(diesel::insert_into(lots::table)
        .values(lot)
        .returning(lots::id)
        .get_result(conn)?)
}

pub(in crate::stock) fn lot_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<LotRow>, Error> {
    Ok(lots::table
        .find(id)
        .select(LotRow::as_select())
        .first(conn)
        .optional()?)
}

/// Where a lot's ledger stands.
pub(in crate::stock) fn lot_balance(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<LotBalance, Error> {
    let (quantity, value, seq, head) = lots::table
        .find(id)
        .select((
            lots::on_hand_micro,
            lots::remaining_value_micro,
            lots::head_seq,
            lots::head_hash,
        ))
        .first(conn)?;
    Ok(LotBalance {
        quantity,
        value,
        seq,
        head,
    })
}

/// One page of lots, of one material or of all, with something in them, without, or either.
pub(in crate::stock) fn lots_page(
    conn: &mut AnyConnection,
    material_id: Option<i64>,
    in_stock: Option<bool>,
    after: i64,
    limit: i64,
) -> Result<Vec<LotRow>, Error> {
    let mut query = lots::table.into_boxed();
    if let Some(material_id) = material_id {
        query = query.filter(lots::material_id.eq(material_id));
    }
    query = match in_stock {
        Some(true) => query.filter(lots::on_hand_micro.gt(Quantity::ZERO)),
        Some(false) => query.filter(lots::on_hand_micro.eq(Quantity::ZERO)),
        None => query,
    };
    Ok(query
        .filter(lots::id.gt(after))
        .order(lots::id)
        .limit(limit)
        .select(LotRow::as_select())
        .load(conn)?)
}

/// Some lots; what does not exist is left out.
pub(in crate::stock) fn lots_by_ids(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<Vec<LotRow>, Error> {
    Ok(lots::table
        .filter(lots::id.eq_any(ids))
        .order(lots::id)
        .select(LotRow::as_select())
        .load(conn)?)
}

/// The lots that were received last, the latest first.
pub(in crate::stock) fn lots_latest(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<Vec<LotRow>, Error> {
    Ok(lots::table
        .order(lots::id.desc())
        .limit(limit)
        .select(LotRow::as_select())
        .load(conn)?)
}

/// Where the chain of every lot ends, in the order of their ids.
pub(in crate::stock) fn heads_all(conn: &mut AnyConnection) -> Result<Vec<Head>, Error> {
    type Row = (i64, String, String, i64, String);
    let rows: Vec<Row> = lots::table
        .inner_join(materials::table.inner_join(catalogue_entries::table))
        .order(lots::id)
        .select((
            lots::id,
            catalogue_entries::code,
            lots::code,
            lots::head_seq,
            lots::head_hash,
        ))
        .load(conn)?;
    let head = |(lot, material, lot_code, seq, hash)| Head {
        lot,
        material,
        lot_code,
        seq,
        hash,
    };
    Ok(rows.into_iter().map(head).collect())
}
