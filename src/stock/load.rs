//! What decisions are made of: the locks, then the shelf, read in the order that keeps writers from deadlock.

use std::collections::HashMap;

use chrono::NaiveDate;

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
    let rows = store::shelf_rows(conn, materials)?;
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
