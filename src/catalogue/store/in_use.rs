//! Who uses an entry now: other entries, casts that are not finished, orders that have not arrived.

use std::collections::BTreeSet;

use diesel::prelude::*;
use serde::Serialize;

use crate::base::{Error, Quantity};
use crate::db::schema::{
    cast_charges, cast_needs, casts, catalogue_entries, catalogue_links, lots, order_lines, orders,
    packs, reservations,
};
use crate::db::{AnyConnection, sum_bigint};

/// One that uses an entry.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub(in crate::catalogue) struct User {
    /// What it is: a noun of the catalogue, `cast` or `order`.
    pub(in crate::catalogue) noun: String,
    /// Its code.
    pub(in crate::catalogue) code: String,
}

/// The states in which a cast still needs what it was planned with.
const UNFINISHED: [&str; 2] = ["booked", "poured"];

/// Everyone who uses an entry now, each once: entries that are not retired, casts booked or poured, open orders.
pub(in crate::catalogue) fn entry_users(
    conn: &mut AnyConnection,
    id: i64,
) -> Result<Vec<User>, Error> {
    let named_by: Vec<(String, String)> = catalogue_links::table
        .inner_join(catalogue_entries::table)
        .filter(catalogue_links::target_id.eq(id))
        .filter(catalogue_entries::retired_at.is_null())
        .select((catalogue_entries::noun, catalogue_entries::code))
        .load(conn)?;
    let user = |(noun, code)| User { noun, code };
    let mut users: BTreeSet<User> = named_by.into_iter().map(user).collect();
    let casts = casts_of(conn, id)?;
    users.extend(casts.into_iter().map(|code| user(("cast".into(), code))));
    let orders = orders_of(conn, id)?;
    users.extend(orders.into_iter().map(|code| user(("order".into(), code))));
    Ok(users.into_iter().collect())
}

/// The codes of the unfinished casts that stand on an entry: as recipe, mold, grant, or material.
fn casts_of(conn: &mut AnyConnection, id: i64) -> Result<Vec<String>, Error> {
    let mut codes: Vec<String> = casts::table
        .filter(casts::state.eq_any(UNFINISHED))
        .filter(casts::recipe_id.eq(id).or(casts::mold_id.eq(id)))
        .select(casts::code)
        .load(conn)?;
    let charged: Vec<String> = cast_charges::table
        .inner_join(casts::table)
        .filter(casts::state.eq_any(UNFINISHED))
        .filter(cast_charges::grant_id.eq(id))
        .select(casts::code)
        .load(conn)?;
    // Once poured, a cast needs only what is still reserved for it.
    let needing: Vec<String> = cast_needs::table
        .inner_join(casts::table)
        .filter(casts::state.eq("booked"))
        .filter(cast_needs::material_id.eq(id))
        .select(casts::code)
        .load(conn)?;
    let reserving: Vec<String> = reservations::table
        .inner_join(casts::table)
        .inner_join(packs::table.inner_join(lots::table))
        .filter(reservations::state.eq("active"))
        .filter(lots::material_id.eq(id))
        .select(casts::code)
        .load(conn)?;
    codes.extend(charged.into_iter().chain(needing).chain(reserving));
    Ok(codes)
}

/// The codes of the orders with lines that have not arrived, of an item or from a supplier.
fn orders_of(conn: &mut AnyConnection, id: i64) -> Result<Vec<String>, Error> {
    Ok(order_lines::table
        .inner_join(orders::table)
        .filter(order_lines::state.eq("ordered"))
        .filter(order_lines::item_id.eq(id).or(orders::supplier_id.eq(id)))
        .select(orders::code)
        .load(conn)?)
}

/// What the packs of a material hold.
pub(in crate::catalogue) fn stock_on_hand(
    conn: &mut AnyConnection,
    material_id: i64,
) -> Result<Quantity, Error> {
    let micro: i64 = lots::table
        .filter(lots::material_id.eq(material_id))
        .select(sum_bigint("on_hand_micro"))
        .first(conn)?;
    Ok(Quantity::from_micro(micro))
}
