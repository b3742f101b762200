//! The packs of which a count is due.

use chrono::{Days, NaiveDate};

use super::count_due::{COUNT_AFTER_DAYS, InUse};
use super::store;
use crate::base::Error;
use crate::catalogue::materials_by_ids;
use crate::db::AnyConnection;

/// A pack of which a count is due.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountDue {
    /// The pack.
    pub pack_id: i64,
    /// Its number in the lot.
    pub no: i32,
    /// Its lot.
    pub lot_id: i64,
    /// The supplier's lot code.
    pub lot: String,
    /// The material's name.
    pub material: String,
    /// When it was last counted.
    pub counted_on: Option<NaiveDate>,
    /// When something was last drawn from it.
    pub drawn_on: NaiveDate,
    /// The day from which the count is due.
    pub due_on: NaiveDate,
}

/// The packs of which a count is due on `today`, the longest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn counts_due(conn: &mut AnyConnection, today: NaiveDate) -> Result<Vec<CountDue>, Error> {
    let before = today - Days::new(COUNT_AFTER_DAYS);
    let packs = store::packs_uncounted(conn, before)?;
    let ids: Vec<i64> = packs.iter().map(|pack| pack.pack_id).collect();
    let drawn = store::packs_drawn_on(conn, &ids)?;
    let mut materials: Vec<i64> = packs.iter().map(|pack| pack.material_id).collect();
    materials.sort_unstable();
    materials.dedup();
    let materials = materials_by_ids(conn, &materials)?;
    let mut found = Vec::new();
    for pack in packs {
        let Some(drawn_on) = drawn.get(&pack.pack_id).copied() else {
            continue;
        };
        let in_use = InUse {
            opened_on: pack.opened_on,
            counted_on: pack.counted_on,
            drawn_on: Some(drawn_on),
        };
        let Some(due_on) = in_use.due_on().filter(|due| *due <= today) else {
            continue;
        };
        let material = materials.iter().find(|entry| entry.id == pack.material_id);
        found.push(CountDue {
            pack_id: pack.pack_id,
            no: pack.no,
            lot_id: pack.lot_id,
            lot: pack.lot_code,
            material: material.map_or_else(String::new, |entry| entry.name.clone()),
            counted_on: pack.counted_on,
            drawn_on,
            due_on,
        });
    }
    found.sort_by_key(|pack| (pack.due_on, pack.pack_id));
    Ok(found)
}
