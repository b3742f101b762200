//! Packs: the bottles, vials, rolls and stacks of a lot.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::{Error, Money, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{lots, packs};

/// A pack as it is kept.
#[derive(Debug, Clone, Queryable, Selectable, AsChangeset)]
#[diesel(table_name = packs, treat_none_as_null = true)]
pub(in crate::stock) struct PackRow {
    #[diesel(skip_update)]
    pub(in crate::stock) id: i64,
    #[diesel(skip_update)]
    pub(in crate::stock) lot_id: i64,
    #[diesel(skip_update)]
    pub(in crate::stock) no: i32,
    #[diesel(column_name = received_micro, skip_update)]
    pub(in crate::stock) received: Quantity,
    #[diesel(column_name = on_hand_micro, skip_update)]
    pub(in crate::stock) on_hand: Quantity,
    #[diesel(column_name = reserved_micro, skip_update)]
    pub(in crate::stock) reserved: Quantity,
    pub(in crate::stock) opened_on: Option<NaiveDate>,
    pub(in crate::stock) held_reason: Option<String>,
    #[diesel(column_name = tare_micro)]
    pub(in crate::stock) tare: Option<Quantity>,
    #[diesel(column_name = gross_micro)]
    pub(in crate::stock) gross_at_receipt: Option<Quantity>,
    pub(in crate::stock) counted_on: Option<NaiveDate>,
    pub(in crate::stock) uses: i64,
}

/// A pack to be kept; its quantity comes by its receipt.
#[derive(Debug, Insertable)]
#[diesel(table_name = packs)]
pub(in crate::stock) struct NewPack {
    pub(in crate::stock) lot_id: i64,
    pub(in crate::stock) no: i32,
    #[diesel(column_name = received_micro)]
    pub(in crate::stock) received: Quantity,
}

/// A pack in stock with what of its lot a decision needs.
#[derive(Debug, Clone, Queryable)]
pub(in crate::stock) struct ShelfRow {
    pub(in crate::stock) pack_id: i64,
    pub(in crate::stock) no: i32,
    pub(in crate::stock) on_hand: Quantity,
    pub(in crate::stock) reserved: Quantity,
    pub(in crate::stock) opened_on: Option<NaiveDate>,
    pub(in crate::stock) held_reason: Option<String>,
    pub(in crate::stock) lot_id: i64,
    pub(in crate::stock) lot_code: String,
    pub(in crate::stock) kit_lot: Option<String>,
    pub(in crate::stock) material_id: i64,
    pub(in crate::stock) funded_by_id: Option<i64>,
    pub(in crate::stock) received_on: NaiveDate,
    pub(in crate::stock) expires_on: Option<NaiveDate>,
    pub(in crate::stock) lot_on_hand: Quantity,
    pub(in crate::stock) lot_value: Money,
}

pub(in crate::stock) fn pack_insert(
    conn: &mut AnyConnection,
    pack: &NewPack,
) -> Result<i64, Error> {
    Ok(diesel::insert_into(packs::table)
        .values(pack)
        .returning(packs::id)
        .get_result(conn)?)
}

/// What each pack of some materials that still holds something held when it came.
pub(in crate::stock) fn packs_received(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<Vec<(i64, Quantity)>, Error> {
    Ok(packs::table
        .inner_join(lots::table)
        .filter(lots::material_id.eq_any(material_ids))
        .filter(packs::on_hand_micro.gt(0))
        .select((packs::id, packs::received_micro))
        .load(conn)?)
}

pub(in crate::stock) fn pack_fetch(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Option<PackRow>, Error> {
    Ok(packs::table
        .find(id)
        .select(PackRow::as_select())
        .first(conn)
        .optional()?)
}

/// Writes what a pack's own columns say (opened, held, tare, counted, uses); quantities move only by the ledger.
pub(in crate::stock) fn pack_touch(conn: &mut AnyConnection, pack: &PackRow) -> Result<(), Error> {
    diesel::update(packs::table.find(pack.id))
        .set((pack, packs::version.eq(packs::version + 1)))
        .execute(conn)?;
    Ok(())
}

pub(in crate::stock) fn packs_of_lots(
    conn: &mut AnyConnection,
    lot_ids: &[i64],
) -> Result<Vec<PackRow>, Error> {
    Ok(packs::table
        .filter(packs::lot_id.eq_any(lot_ids))
        .order((packs::lot_id, packs::no))
        .select(PackRow::as_select())
        .load(conn)?)
}

/// What stands on the label of a pack.
#[derive(Debug, Clone, Queryable)]
pub(in crate::stock) struct LabelRow {
    pub(in crate::stock) pack_id: i64,
    pub(in crate::stock) no: i32,
    pub(in crate::stock) opened_on: Option<NaiveDate>,
    pub(in crate::stock) lot_id: i64,
    pub(in crate::stock) lot_code: String,
    pub(in crate::stock) kit_lot: Option<String>,
    pub(in crate::stock) material_id: i64,
    pub(in crate::stock) expires_on: Option<NaiveDate>,
}

/// The labels of packs, empty ones too.
pub(in crate::stock) fn pack_labels(
    conn: &mut AnyConnection,
    pack_ids: &[i64],
) -> Result<Vec<LabelRow>, Error> {
    Ok(packs::table
        .inner_join(lots::table)
        .filter(packs::id.eq_any(pack_ids))
        .select((
            packs::id,
            packs::no,
            packs::opened_on,
            lots::id,
            lots::code,
            lots::kit_lot,
            lots::material_id,
            lots::expires_on,
        ))
        .load(conn)?)
}

/// The materials of which some lot holds something, in the order of their ids.
pub(in crate::stock) fn materials_in_stock(conn: &mut AnyConnection) -> Result<Vec<i64>, Error> {
    Ok(lots::table
        .filter(lots::on_hand_micro.gt(0))
        .order(lots::material_id)
        .select(lots::material_id)
        .distinct()
        .load(conn)?)
}

/// Every pack that holds something, of the materials given. With a day, empty packs too that were counted after it.
pub(in crate::stock) fn shelf_rows(
    conn: &mut AnyConnection,
    material_ids: &[i64],
    counted_after: Option<NaiveDate>,
) -> Result<Vec<ShelfRow>, Error> {
    let in_stock = lots::on_hand_micro.gt(0).and(packs::on_hand_micro.gt(0));
    let mut query = packs::table
        .inner_join(lots::table)
        .filter(lots::material_id.eq_any(material_ids))
        .into_boxed();
    query = match counted_after {
        None => query.filter(in_stock),
        Some(day) => query.filter(in_stock.or(packs::counted_on.gt(day).assume_not_null())),
    };
    Ok(query
        .order((lots::id, packs::no))
        .select((
            packs::id,
            packs::no,
            packs::on_hand_micro,
            packs::reserved_micro,
            packs::opened_on,
            packs::held_reason,
            lots::id,
            lots::code,
            lots::kit_lot,
            lots::material_id,
            lots::funded_by_id,
            lots::received_on,
            lots::expires_on,
            lots::on_hand_micro,
            lots::remaining_value_micro,
        ))
        .load(conn)?)
}

/// A pack that holds something and has gone uncounted.
#[derive(Debug, Clone, Queryable)]
pub(in crate::stock) struct UncountedRow {
    pub(in crate::stock) pack_id: i64,
    pub(in crate::stock) no: i32,
    pub(in crate::stock) opened_on: Option<NaiveDate>,
    pub(in crate::stock) counted_on: Option<NaiveDate>,
    pub(in crate::stock) lot_id: i64,
    pub(in crate::stock) lot_code: String,
    pub(in crate::stock) material_id: i64,
}

/// The packs that hold something and were last counted on or before a day, or never and were opened on or before it.
pub(in crate::stock) fn packs_uncounted(
    conn: &mut AnyConnection,
    before: NaiveDate,
) -> Result<Vec<UncountedRow>, Error> {
    let counted = packs::counted_on.le(before).assume_not_null();
    let never = packs::counted_on
        .is_null()
        .and(packs::opened_on.le(before).assume_not_null());
    Ok(packs::table
        .inner_join(lots::table)
        .filter(lots::on_hand_micro.gt(0))
        .filter(packs::on_hand_micro.gt(0))
        .filter(counted.or(never))
        .order(packs::id)
        .select((
            packs::id,
            packs::no,
            packs::opened_on,
            packs::counted_on,
            lots::id,
            lots::code,
            lots::material_id,
        ))
        .load(conn)?)
}
