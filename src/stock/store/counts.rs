//! Counts of a pack that stand, with what was evened out against them since.
//!
//! A count that evens out another entry carries `offset:` and the id of the count it belongs to as its purpose.

use std::collections::HashSet;

use chrono::NaiveDate;
use diesel::prelude::*;

use crate::base::{Error, Money, Quantity};
use crate::db::AnyConnection;
use crate::db::schema::{casts, movements, reservations};
use crate::stock::backdate::Anchor;
use crate::stock::ledger::MovementKind;

const OFFSET: &str = "offset:";

/// The purpose of a count that evens out another entry against the count `anchor_id`.
pub(in crate::stock) fn offset_word(anchor_id: i64) -> String {
    format!("{OFFSET}{anchor_id}")
}

/// Whether a purpose is that of a count that evens out another entry.
pub(in crate::stock) fn is_offset(purpose: Option<&str>) -> bool {
    purpose.is_some_and(|word| word.starts_with(OFFSET))
}

/// The counts of a pack on or after a day that no reversal has taken back. What a cast found missing at its pour is no
/// count of the pack, and neither is what evens out another entry.
pub(in crate::stock) fn anchors(
    conn: &mut AnyConnection,
    pack_id: i64,
    from: NaiveDate,
) -> Result<Vec<Anchor>, Error> {
    type Row = (i64, NaiveDate, Quantity, Money, Option<String>);
    let counts: Vec<Row> = movements::table
        .filter(movements::pack_id.eq(pack_id))
        .filter(movements::effective_on.ge(from))
        .filter(movements::kind.eq(MovementKind::Count.as_str()))
        .filter(movements::cast_id.is_null())
        .order(movements::id)
        .select((
            movements::id,
            movements::effective_on,
            movements::quantity_micro,
            movements::value_micro,
            movements::purpose,
        ))
        .load(conn)?;
    if counts.is_empty() {
        return Ok(Vec::new());
    }
    let reversed = reversed_of_pack(conn, pack_id)?;
    let (offsets, own): (Vec<Row>, Vec<Row>) = counts
        .into_iter()
        .filter(|row| !reversed.contains(&row.0))
        .partition(|row| is_offset(row.4.as_deref()));
    own.into_iter()
        .map(|(movement_id, counted_on, mut found, mut value, _)| {
            let word = offset_word(movement_id);
            for row in offsets
                .iter()
                .filter(|row| row.4.as_deref() == Some(word.as_str()))
            {
                found = found.checked_add(row.2)?;
                value = value.checked_add(row.3)?;
            }
            Ok(Anchor {
                movement_id,
                counted_on,
                found,
                value,
            })
        })
        .collect()
}

/// The movements of a pack that were taken back.
fn reversed_of_pack(conn: &mut AnyConnection, pack_id: i64) -> Result<HashSet<i64>, Error> {
    let ids: Vec<Option<i64>> = movements::table
        .filter(movements::pack_id.eq(pack_id))
        .filter(movements::reverses_id.is_not_null())
        .select(movements::reverses_id)
        .load(conn)?;
    Ok(ids.into_iter().flatten().collect())
}

/// Whether anything was evened out against a count since.
pub(in crate::stock) fn has_offsets(
    conn: &mut AnyConnection,
    count_id: i64,
) -> Result<bool, Error> {
    let lot: i64 = movements::table
        .find(count_id)
        .select(movements::lot_id)
        .first(conn)?;
    let offsets: i64 = movements::table
        .filter(movements::lot_id.eq(lot))
        .filter(movements::purpose.eq(offset_word(count_id)))
        .count()
        .get_result(conn)?;
    Ok(offsets > 0)
}

/// What of a pack is in use by casts that were poured and not yet demoulded: their codes, and how much.
pub(in crate::stock) fn promised_in_use(
    conn: &mut AnyConnection,
    pack_id: i64,
) -> Result<Vec<(String, Quantity)>, Error> {
    Ok(reservations::table
        .inner_join(casts::table)
        .filter(reservations::pack_id.eq(pack_id))
        .filter(reservations::state.eq("active"))
        .filter(casts::state.ne("booked"))
        .order(reservations::id)
        .select((casts::code, reservations::quantity_micro))
        .load(conn)?)
}
