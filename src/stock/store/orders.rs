//! Lines of orders that have not arrived.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::{Error, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{catalogue_entries, order_lines, orders};

/// A line on order.
#[derive(Debug, Clone)]
pub(in crate::stock) struct OrderedLine {
    pub(in crate::stock) item_id: i64,
    pub(in crate::stock) is_kit: bool,
    pub(in crate::stock) packs: i64,
    pub(in crate::stock) pack_quantity: Option<Quantity>,
    pub(in crate::stock) expected_on: Option<NaiveDate>,
    pub(in crate::stock) order: String,
}

/// The lines on order of the materials, and those of any kit.
pub(in crate::stock) fn lines_ordered(
    conn: &mut AnyConnection,
    material_ids: &[i64],
) -> Result<Vec<OrderedLine>, Error> {
    type Row = (
        i64,
        String,
        i64,
        Option<Quantity>,
        Option<NaiveDate>,
        String,
    );
    let rows: Vec<Row> = order_lines::table
        .inner_join(orders::table)
        .inner_join(catalogue_entries::table)
        .filter(order_lines::state.eq("ordered"))
        .filter(
            order_lines::item_id
                .eq_any(material_ids)
                .or(catalogue_entries::noun.eq("kit")),
        )
        .order(order_lines::id)
        .select((
            order_lines::item_id,
            catalogue_entries::noun,
            order_lines::packs,
            order_lines::pack_quantity_micro,
            order_lines::expected_on,
            orders::code,
        ))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .map(
            |(item_id, noun, packs, pack_quantity, expected_on, order)| OrderedLine {
                item_id,
                is_kit: noun == "kit",
                packs,
                pack_quantity,
                expected_on,
                order,
            },
        )
        .collect())
}
