//! Order lines of materials and kits.

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::Error;
use crate::db::AnyConnection;
use crate::db::schema::{order_lines, orders};
use crate::reorder::order_lines::{LineState, OrderLine};

#[derive(Queryable)]
struct Row {
    item_id: i64,
    order: String,
    line_no: String,
    supplier_id: i64,
    ordered_on: NaiveDate,
    packs: i64,
    pack_quantity_micro: Option<i64>,
    state: String,
    expected_on: Option<NaiveDate>,
    received_on: Option<NaiveDate>,
}

/// The lines of some items that are still to come, or that were ordered on or after a day, the oldest order first.
pub(in crate::reorder) fn lines_of_items(
    conn: &mut AnyConnection,
    item_ids: &[i64],
    from: NaiveDate,
) -> Result<Vec<OrderLine>, Error> {
    let rows: Vec<Row> = order_lines::table
        .inner_join(orders::table)
        .filter(order_lines::item_id.eq_any(item_ids))
        .filter(
            order_lines::state
                .eq("ordered")
                .or(orders::ordered_on.ge(from)),
        )
        .order((orders::ordered_on, order_lines::id))
        .select((
            order_lines::item_id,
            orders::code,
            order_lines::line_no,
            orders::supplier_id,
            orders::ordered_on,
            order_lines::packs,
            order_lines::pack_quantity_micro,
            order_lines::state,
            order_lines::expected_on,
            order_lines::received_on,
        ))
        .load(conn)?;
    rows.into_iter().map(line).collect()
}

fn line(row: Row) -> Result<OrderLine, Error> {
    let state = match (row.state.as_str(), row.received_on) {
        ("ordered", _) => LineState::Ordered {
            expected_on: row.expected_on,
        },
        ("received", Some(on)) => LineState::Received { on },
        ("cancelled", _) => LineState::Cancelled,
        (other, _) => {
            return Err(Error::internal(format!(
                "line {} of order {} is {other}",
                row.line_no, row.order
            )));
        }
    };
    Ok(OrderLine {
        item_id: row.item_id,
        order: row.order,
        line_no: row.line_no,
        supplier_id: row.supplier_id,
        ordered_on: row.ordered_on,
        packs: row.packs,
        pack_quantity_micro: row.pack_quantity_micro,
        state,
    })
}
