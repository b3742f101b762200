//! Orders and their lines.

use std::collections::HashMap;

use chrono::{NaiveDate, NaiveDateTime};
use diesel::prelude::*;

use crate::base::{Error, Money, Quantity};
use crate::db::schema::{lots, order_lines, orders, period_guard};
use crate::db::{AnyConnection, Tx};

/// How many values go into one list of a query; SQLite takes 32 766 at most.
const LIST_MAX: usize = 10_000;
/// How many rows go into one insertion: ten columns each.
const ROWS_MAX: usize = 1_000;

/// An order as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = orders)]
pub(in crate::purchasing) struct OrderRow {
    pub(in crate::purchasing) id: i64,
    pub(in crate::purchasing) code: String,
    pub(in crate::purchasing) supplier_id: i64,
    pub(in crate::purchasing) ordered_on: NaiveDate,
    pub(in crate::purchasing) created_at: NaiveDateTime,
    pub(in crate::purchasing) created_by: String,
}

/// A line of an order as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = order_lines)]
pub(in crate::purchasing) struct LineRow {
    pub(in crate::purchasing) id: i64,
    pub(in crate::purchasing) order_id: i64,
    pub(in crate::purchasing) line_no: String,
    pub(in crate::purchasing) item_id: i64,
    #[diesel(column_name = value_micro)]
    pub(in crate::purchasing) value: Money,
    pub(in crate::purchasing) state: String,
    pub(in crate::purchasing) expected_on: Option<NaiveDate>,
    pub(in crate::purchasing) received_on: Option<NaiveDate>,
    pub(in crate::purchasing) content: String,
}

/// A line to be kept.
#[derive(Debug, Insertable)]
#[diesel(table_name = order_lines, treat_none_as_default_value = false)]
pub(in crate::purchasing) struct NewLine<'a> {
    pub(in crate::purchasing) order_id: i64,
    pub(in crate::purchasing) line_no: String,
    pub(in crate::purchasing) item_id: i64,
    pub(in crate::purchasing) packs: i64,
    #[diesel(column_name = pack_quantity_micro)]
    pub(in crate::purchasing) pack_quantity: Option<Quantity>,
    #[diesel(column_name = value_micro)]
    pub(in crate::purchasing) value: Money,
    pub(in crate::purchasing) state: &'a str,
    pub(in crate::purchasing) expected_on: Option<NaiveDate>,
    pub(in crate::purchasing) received_on: Option<NaiveDate>,
    pub(in crate::purchasing) content: &'a str,
}

#[derive(Debug, Insertable)]
#[diesel(table_name = orders)]
struct NewOrder<'a> {
    code: &'a str,
    supplier_id: i64,
    ordered_on: NaiveDate,
    created_at: NaiveDateTime,
    created_by: &'a str,
}

/// The common connection type has no insertion of many rows at once.
macro_rules! insert_many {
    ($conn:expr, $table:expr, $rows:expr) => {
        match $conn {
            AnyConnection::Sqlite(conn) => {
                diesel::insert_into($table).values($rows).execute(conn)?
            }
            AnyConnection::Postgres(conn) => {
                diesel::insert_into($table).values($rows).execute(conn)?
            }
        }
    };
}

/// Makes whoever else writes orders wait until the transaction ends, so that one line is never made twice. SQLite's
/// one writer needs no more.
pub(in crate::purchasing) fn orders_lock(conn: &mut AnyConnection) -> Result<(), Error> {
    if let AnyConnection::Postgres(conn) = conn {
        diesel::sql_query("LOCK TABLE orders IN SHARE ROW EXCLUSIVE MODE").execute(conn)?;
    }
    Ok(())
}

/// The last day of the last closed period.
pub(in crate::purchasing) fn period_closed_through(
    conn: &mut AnyConnection,
) -> Result<Option<NaiveDate>, Error> {
    Ok(period_guard::table
        .select(period_guard::closed_through)
        .first(conn)?)
}

/// The orders of some numbers; what does not exist is left out.
pub(in crate::purchasing) fn orders_by_codes(
    conn: &mut AnyConnection,
    codes: &[&str],
) -> Result<Vec<OrderRow>, Error> {
    let mut rows = Vec::new();
    for some in codes.chunks(LIST_MAX) {
        rows.extend(
            orders::table
                .filter(orders::code.eq_any(some))
                .select(OrderRow::as_select())
                .load(conn)?,
        );
    }
    Ok(rows)
}

pub(in crate::purchasing) fn order_by_code(
    conn: &mut AnyConnection,
    code: &str,
) -> Result<Option<OrderRow>, Error> {
    Ok(orders_by_codes(conn, &[code])?.pop())
}

/// A page of orders and one row more.
pub(in crate::purchasing) fn orders_after(
    conn: &mut AnyConnection,
    after: i64,
    limit: i64,
) -> Result<Vec<OrderRow>, Error> {
    Ok(orders::table
        .filter(orders::id.gt(after))
        .order(orders::id)
        .limit(limit)
        .select(OrderRow::as_select())
        .load(conn)?)
}

/// The orders with a line that is on order, the oldest first.
pub(in crate::purchasing) fn orders_expected(
    conn: &mut AnyConnection,
    limit: i64,
) -> Result<Vec<OrderRow>, Error> {
    let expected = order_lines::table
        .filter(order_lines::state.eq("ordered"))
        .select(order_lines::order_id);
    Ok(orders::table
        .filter(orders::id.eq_any(expected))
        .order((orders::ordered_on, orders::id))
        .limit(limit)
        .select(OrderRow::as_select())
        .load(conn)?)
}

/// The lines of some orders, in the order they were entered.
pub(in crate::purchasing) fn lines_of_orders(
    conn: &mut AnyConnection,
    order_ids: &[i64],
) -> Result<Vec<LineRow>, Error> {
    let mut rows = Vec::new();
    for some in order_ids.chunks(LIST_MAX) {
        rows.extend(
            order_lines::table
                .filter(order_lines::order_id.eq_any(some))
                .order(order_lines::id)
                .select(LineRow::as_select())
                .load(conn)?,
        );
    }
    Ok(rows)
}

/// The ids of the lots that lines brought: pairs of line and lot.
pub(in crate::purchasing) fn lots_of_lines(
    conn: &mut AnyConnection,
    line_ids: &[i64],
) -> Result<Vec<(i64, i64)>, Error> {
    let mut found = Vec::new();
    for some in line_ids.chunks(LIST_MAX) {
        let rows: Vec<(Option<i64>, i64)> = lots::table
            .filter(lots::order_line_id.eq_any(some))
            .order(lots::id)
            .select((lots::order_line_id, lots::id))
            .load(conn)?;
        found.extend(
            rows.into_iter()
                .filter_map(|(line, lot)| Some((line?, lot))),
        );
    }
    Ok(found)
}

/// Makes orders (number, supplier, day) and gives their ids by number.
pub(in crate::purchasing) fn orders_insert(
    tx: &mut Tx<'_>,
    made: &[(&str, i64, NaiveDate)],
) -> Result<HashMap<String, i64>, Error> {
    let (created_at, created_by) = (tx.stored_now(), tx.actor);
    let rows: Vec<NewOrder<'_>> = made
        .iter()
        .map(|(code, supplier_id, ordered_on)| NewOrder {
            code,
            supplier_id: *supplier_id,
            ordered_on: *ordered_on,
            created_at,
            created_by,
        })
        .collect();
    for some in rows.chunks(ROWS_MAX) {
        insert_many!(tx.conn, orders::table, some);
    }
    let codes: Vec<&str> = made.iter().map(|(code, ..)| *code).collect();
    let kept = orders_by_codes(tx.conn, &codes)?;
    Ok(kept.into_iter().map(|row| (row.code, row.id)).collect())
}

/// Makes lines and gives the ids of all lines of their orders, by order and number.
pub(in crate::purchasing) fn lines_insert(
    conn: &mut AnyConnection,
    lines: &[NewLine<'_>],
) -> Result<HashMap<(i64, String), i64>, Error> {
    for some in lines.chunks(ROWS_MAX) {
        insert_many!(conn, order_lines::table, some);
    }
    let mut order_ids: Vec<i64> = lines.iter().map(|line| line.order_id).collect();
    order_ids.sort_unstable();
    order_ids.dedup();
    let mut ids = HashMap::with_capacity(lines.len());
    for some in order_ids.chunks(LIST_MAX) {
        let rows: Vec<(i64, String, i64)> = order_lines::table
            .filter(order_lines::order_id.eq_any(some))
            .select((order_lines::order_id, order_lines::line_no, order_lines::id))
            .load(conn)?;
        ids.extend(
            rows.into_iter()
                .map(|(order, line_no, id)| ((order, line_no), id)),
        );
    }
    Ok(ids)
}

/// Writes that a line on order has arrived, with what the row now says.
pub(in crate::purchasing) fn line_receive(
    conn: &mut AnyConnection,
    id: i64,
    (received_on, value): (Option<NaiveDate>, Money),
    content: &str,
) -> Result<(), Error> {
    diesel::update(order_lines::table.find(id))
        .set((
            order_lines::state.eq("received"),
            order_lines::received_on.eq(received_on),
            order_lines::value_micro.eq(value),
            order_lines::content.eq(content),
        ))
        .execute(conn)?;
    Ok(())
}

/// Writes that lines will not arrive.
pub(in crate::purchasing) fn lines_cancel(
    conn: &mut AnyConnection,
    ids: &[i64],
) -> Result<(), Error> {
    for some in ids.chunks(LIST_MAX) {
        diesel::update(order_lines::table.filter(order_lines::id.eq_any(some)))
            .set(order_lines::state.eq("cancelled"))
            .execute(conn)?;
    }
    Ok(())
}
