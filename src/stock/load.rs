//! What decisions are made of: the locks, then the shelf, read in the order that keeps writers from deadlock.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::backdate::PastShelf;
use super::grasp::leeway;
use super::shelf::PackFacts;
use super::store;
use crate::base::{Error, Quantity, RefusalKind};
use crate::catalogue::materials_by_ids;
use crate::db::{AnyConnection, Tx};

/// Takes the period guard and the materials' locks, in that order. Call it before anything is decided.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lock(tx: &mut Tx<'_>, materials: &[i64]) -> Result<(), Error> {
    store::guard_share(tx.conn)?;
    store::materials_lock(tx.conn, materials)
}

/// Refuses a bench day that lies in the future or in a closed period.
///
/// # Errors
/// [`Error::Invalid`] at `pointer` for a day after today; [`Error::Refused`] for a closed period.
pub fn day_open(tx: &mut Tx<'_>, pointer: &str, day: NaiveDate) -> Result<(), Error> {
    if day > tx.today {
        return Err(Error::invalid(
            pointer,
            format!("{day} is in the future: today is {}", tx.today),
        ));
    }
    match store::guard_share(tx.conn)? {
        Some(closed) if day <= closed => {
            let detail = format!(
                "the books are closed through {closed}: {day} cannot be written to; use a day after it"
            );
            Err(Error::refused(RefusalKind::PeriodClosed, detail)
                .with("closed_through", closed.to_string()))
        }
        _ => Ok(()),
    }
}

/// Every pack in stock of the materials.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn shelf(conn: &mut AnyConnection, materials: &[i64]) -> Result<Vec<PackFacts>, Error> {
    shelf_with(conn, materials, None)
}

/// What each pack of some materials that still holds something held when it came.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn packs_received(
    conn: &mut AnyConnection,
    materials: &[i64],
) -> Result<HashMap<i64, Quantity>, Error> {
    Ok(store::packs_received(conn, materials)?
        .into_iter()
        .collect())
}

/// The shelf as something that was used on `day` can have been taken from it. For today that is the shelf as it stands; on
/// a day before it, a pack gives no more than was there then and is not needed by later entries; and a pack that was
/// counted since gives what was there then, whatever it holds now.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn shelf_on(tx: &mut Tx<'_>, materials: &[i64], day: NaiveDate) -> Result<PastShelf, Error> {
    if day >= tx.today {
        return Ok(PastShelf::present(shelf(tx.conn, materials)?));
    }
    let mut past = PastShelf::present(shelf_with(tx.conn, materials, Some(day))?);
    for index in 0..past.packs.len() {
        let pack_id = past.packs[index].pack_id;
        let row = store::pack_fetch(tx.conn, pack_id)?
            .ok_or_else(|| Error::not_found("pack", pack_id))?;
        let leeway = leeway(tx, &row, (day, None), day)?;
        past.limit(index, leeway.history, leeway.evened_out);
    }
    Ok(past)
}

fn shelf_with(
    conn: &mut AnyConnection,
    materials: &[i64],
    counted_after: Option<NaiveDate>,
) -> Result<Vec<PackFacts>, Error> {
    let traits: HashMap<i64, (Option<u32>, Quantity)> = materials_by_ids(conn, materials)?
        .into_iter()
        .map(|entry| {
            (
                entry.id,
                (
                    entry.body.open_life_days,
                    entry.body.heel.unwrap_or(Quantity::ZERO),
                ),
            )
        })
        .collect();
    let rows = store::shelf_rows(conn, materials, counted_after)?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let (open_life_days, heel) = traits
                .get(&row.material_id)
                .copied()
                .unwrap_or((None, Quantity::ZERO));
            PackFacts {
                pack_id: row.pack_id,
                no: row.no,
                lot_id: row.lot_id,
                lot_code: row.lot_code,
                kit_lot: row.kit_lot,
                material_id: row.material_id,
                funded_by_id: row.funded_by_id,
                received_on: row.received_on,
                expires_on: row.expires_on,
                opened_on: row.opened_on,
                open_life_days,
                held_reason: row.held_reason,
                on_hand: row.on_hand,
                reserved: row.reserved,
                heel,
                lot_on_hand: row.lot_on_hand,
                lot_value: row.lot_value,
            }
        })
        .collect())
}
