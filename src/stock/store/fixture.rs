//! For this room's tests: rows of other rooms that stock stands on, and statements behind the room's back.

use chrono::NaiveDate;
use diesel::connection::SimpleConnection;
use diesel::prelude::*;

use crate::base::{Error, Money};
use crate::db::schema::{cast_costs, casts, movements, order_lines, orders};
use crate::db::{AnyConnection, Tx};

/// A booked cast; `entry_id` is any entry of the catalogue.
pub(in crate::stock) fn cast_row(
    tx: &mut Tx<'_>,
    code: &str,
    cast_on: NaiveDate,
    entry_id: i64,
) -> Result<i64, Error> {
    let now = tx.stored_now();
    let row = (
        casts::code.eq(code),
        casts::state.eq("booked"),
        casts::recipe_id.eq(entry_id),
        casts::mold_id.eq(entry_id),
        casts::containers.eq(1),
        casts::cast_on.eq(cast_on),
        casts::allow_mixed_kits.eq(false),
        casts::allow_cross_charge.eq(false),
        casts::request.eq("{}"),
        casts::facts.eq("{}"),
        casts::plan.eq("{}"),
        casts::booked_at.eq(now),
        casts::booked_by.eq("tester"),
    );
    Ok(diesel::insert_into(casts::table)
        .values(row)
        .returning(casts::id)
        .get_result(tx.conn)?)
}

/// Writes a cast's state: `poured`, `booked` or `cancelled`.
pub(in crate::stock) fn cast_state(tx: &mut Tx<'_>, id: i64, state: &str) -> Result<(), Error> {
    let poured = state == "poured";
    let now = tx.stored_now();
    diesel::update(casts::table.find(id))
        .set((
            casts::state.eq(state),
            casts::pour.eq(poured.then_some("{}")),
            casts::poured_on.eq(poured.then_some(tx.today)),
            casts::cancelled_at.eq((state == "cancelled").then_some(now)),
            casts::short.eq(false),
        ))
        .execute(tx.conn)?;
    Ok(())
}

/// A cast's state.
pub(in crate::stock) fn cast_state_of(conn: &mut AnyConnection, id: i64) -> Result<String, Error> {
    Ok(casts::table.find(id).select(casts::state).first(conn)?)
}

/// Keeps a cast's cost, or forgets it.
pub(in crate::stock) fn cast_cost(
    tx: &mut Tx<'_>,
    id: i64,
    amount: Option<Money>,
) -> Result<(), Error> {
    diesel::delete(cast_costs::table.filter(cast_costs::cast_id.eq(id))).execute(tx.conn)?;
    if let Some(amount) = amount {
        let row = (
            cast_costs::cast_id.eq(id),
            cast_costs::component.eq("chip"),
            cast_costs::amount_micro.eq(amount),
        );
        diesel::insert_into(cast_costs::table)
            .values(row)
            .execute(tx.conn)?;
    }
    Ok(())
}

/// An order with lines on order: item, packs, what a pack holds in millionths, the day expected.
pub(in crate::stock) fn order_row(
    tx: &mut Tx<'_>,
    code: &str,
    supplier_id: i64,
    lines: &[(i64, i64, Option<i64>, Option<NaiveDate>)],
) -> Result<(), Error> {
    let now = tx.stored_now();
    let order_id: i64 = diesel::insert_into(orders::table)
        .values((
            orders::code.eq(code),
            orders::supplier_id.eq(supplier_id),
            orders::ordered_on.eq(tx.today),
            orders::created_at.eq(now),
            orders::created_by.eq("tester"),
        ))
        .returning(orders::id)
        .get_result(tx.conn)?;
    for (no, (item_id, packs, pack_quantity, expected_on)) in (1..).zip(lines) {
        let pack_quantity = pack_quantity.map(crate::base::Quantity::from_micro);
        diesel::insert_into(order_lines::table)
            .values((
                order_lines::order_id.eq(order_id),
                order_lines::line_no.eq(format!("{no}")),
                order_lines::item_id.eq(*item_id),
                order_lines::packs.eq(*packs),
                order_lines::pack_quantity_micro.eq(pack_quantity),
                order_lines::value_micro.eq(Money::ZERO),
                order_lines::state.eq("ordered"),
                order_lines::expected_on.eq(*expected_on),
                order_lines::content.eq("{}"),
            ))
            .execute(tx.conn)?;
    }
    Ok(())
}

/// The last movement of a pack that evens out nothing.
pub(in crate::stock) fn last_entry(conn: &mut AnyConnection, pack_id: i64) -> Result<i64, Error> {
    let all: Vec<(i64, Option<String>)> = movements::table
        .filter(movements::pack_id.eq(pack_id))
        .order(movements::id.desc())
        .select((movements::id, movements::purpose))
        .load(conn)?;
    let own = all
        .into_iter()
        .find(|(_, purpose)| !super::is_offset(purpose.as_deref()));
    own.map(|(id, _)| id)
        .ok_or_else(|| Error::not_found("pack", pack_id))
}

/// Runs statements as they stand.
pub(in crate::stock) fn raw(conn: &mut AnyConnection, sql: &str) -> Result<(), Error> {
    Ok(conn.batch_execute(sql)?)
}

/// Lets the ledger be altered, as nobody but the database's owner could.
pub(in crate::stock) fn unguarded(conn: &mut AnyConnection) -> Result<(), Error> {
    match conn {
        AnyConnection::Sqlite(conn) => conn.batch_execute(
            "DROP TRIGGER movements_never_updated; DROP TRIGGER movements_never_deleted;",
        )?,
        AnyConnection::Postgres(conn) => {
            conn.batch_execute("ALTER TABLE movements DISABLE TRIGGER movements_never_updated")?
        }
    }
    Ok(())
}
