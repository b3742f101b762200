//! Loading a lot's page, and doing what its forms ask for.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::deed::{Deed, Typed};
use super::view::Facts;
use crate::base::{Error, RefusalKind, Unit};
use crate::casting::trace::{cast_codes, lot_trace_show};
use crate::catalogue::{Entry, MaterialBody, grant_by_code, material_by_code, supplier_by_code};
use crate::db::{AnyConnection, Tx};
use crate::http::document_read;
use crate::stock::counting::pack_count;
use crate::stock::events::{lot_hold, lot_release, pack_hold, pack_open, pack_release};
use crate::stock::load::shelf;
use crate::stock::losing::{Loss, pack_lose};
use crate::stock::promises::pack_place;
use crate::stock::views::{LotView, MovementView, lot_show, movements_latest};

/// How many movements a page has.
const MOVEMENTS_SHOWN: usize = 25;
/// The most movements that a deed leaves: a count of a past day is evened out by a second.
const MOVEMENTS_LEFT: i64 = 2;

/// What is asked for at a lot's pack.
#[derive(Debug, Clone, Copy)]
pub(super) struct Errand {
    /// The lot.
    pub(super) lot_id: i64,
    /// Its pack.
    pub(super) pack_id: i64,
    /// What is to be done.
    pub(super) deed: Deed,
}

/// Loads the page of a lot, with its movements before a sequence number when one is given.
///
/// # Errors
/// [`Error::NotFound`] without such a lot.
pub(super) fn facts(
    conn: &mut AnyConnection,
    lot_id: i64,
    before: Option<i64>,
    today: NaiveDate,
) -> Result<Facts, Error> {
    let (lot, material) = lot_and_material(conn, lot_id, today)?;
    let mut in_stock = shelf(conn, &[material.id])?;
    in_stock.retain(|pack| pack.lot_id == lot_id);
    let supplier = lot.supplier.as_deref();
    let supplier = supplier.map(|code| supplier_by_code(conn, code));
    let grant = lot.funded_by.as_deref();
    let grant = grant.map(|code| grant_by_code(conn, code));
    let limit = i64::try_from(MOVEMENTS_SHOWN).map_err(Error::internal)?;
    let mut movements = movements_latest(conn, lot_id, before, limit)?;
    let more = movements.len() > MOVEMENTS_SHOWN;
    movements.truncate(MOVEMENTS_SHOWN);
    Ok(Facts {
        supplier: supplier.transpose()?.map(|entry| entry.name),
        grant: grant.transpose()?.map(|entry| entry.name),
        older: movements.last().filter(|_| more).map(|last| last.seq),
        casts: casts_of(conn, &movements)?,
        trace: lot_trace_show(conn, lot_id, None)?,
        lot,
        material,
        in_stock,
        movements,
    })
}

fn casts_of(
    conn: &mut AnyConnection,
    movements: &[MovementView],
) -> Result<HashMap<i64, String>, Error> {
    let mut ids: Vec<i64> = movements.iter().filter_map(|moved| moved.cast_id).collect();
    ids.sort_unstable();
    ids.dedup();
    cast_codes(conn, &ids)
}

/// A lot with its material.
///
/// # Errors
/// [`Error::NotFound`] without such a lot.
pub(super) fn lot_and_material(
    conn: &mut AnyConnection,
    lot_id: i64,
    today: NaiveDate,
) -> Result<(LotView, Entry<MaterialBody>), Error> {
    let lot = lot_show(conn, lot_id, today)?;
    let material = material_by_code(conn, &lot.material)?;
    Ok((lot, material))
}

/// Does what a form asks for. Returns the movement that it left, if it left one.
///
/// # Errors
/// Those of the operation; [`Error::NotFound`] when the pack is not one of the lot's; [`Error::Refused`] when something else was
/// recorded since the page was made.
pub(super) fn errand_run(
    tx: &mut Tx<'_>,
    errand: Errand,
    typed: &Typed,
) -> Result<Option<i64>, Error> {
    let Errand {
        lot_id,
        pack_id,
        deed,
    } = errand;
    if pack_place(tx.conn, pack_id)?.lot_id != lot_id {
        return Err(Error::not_found("pack of this lot", pack_id));
    }
    let unit = lot_and_material(tx.conn, lot_id, tx.today)?.1.body.unit;
    deed_do(tx, errand, unit, typed)?;
    let Some(kind) = deed.movement() else {
        return Ok(None);
    };
    let latest = movements_latest(tx.conn, lot_id, None, MOVEMENTS_LEFT)?;
    let own = latest
        .iter()
        .find(|moved| moved.kind == kind.as_str() && moved.purpose.is_none())
        .ok_or_else(|| Error::internal("a deed left no movement"))?;
    let known = typed.get("known");
    if let Some(known) = known.and_then(|known| known.parse::<i64>().ok())
        && !follows(known, own.id, &latest)
    {
        let detail = "something else was recorded of this lot since the page was opened, perhaps this very form: \
            look at its history, and send the form again if it still holds";
        return Err(Error::refused(RefusalKind::HistoryConflict, detail));
    }
    Ok(Some(own.id))
}

/// Whether what a deed left comes right after the last movement that its page knew: its own, or what evens it out. The operation
/// holds the locks, so that nobody else's can come between.
fn follows(known: i64, own_id: i64, latest: &[MovementView]) -> bool {
    let next = latest.iter().find(|moved| moved.seq == known + 1);
    next.is_some_and(|moved| moved.id == own_id || moved.purpose.is_some())
}

fn deed_do(tx: &mut Tx<'_>, errand: Errand, unit: Unit, typed: &Typed) -> Result<i64, Error> {
    let Errand { pack_id, deed, .. } = errand;
    let body = deed.document(unit, typed);
    match deed {
        Deed::Count => pack_count(tx, pack_id, &document_read(body)?),
        Deed::Open => pack_open(tx, pack_id, &document_read(body)?),
        Deed::Spill => pack_lose(tx, pack_id, Loss::Spill, &document_read(body)?),
        Deed::WriteOff => pack_lose(tx, pack_id, Loss::WriteOff, &document_read(body)?),
        Deed::Hold => pack_hold(tx, pack_id, &document_read(body)?),
        Deed::Release => pack_release(tx, pack_id),
    }
}

/// Holds the whole of a lot back, or lets it go.
///
/// # Errors
/// Those of the operation; [`Error::NotFound`] for what is done to single packs only.
pub(super) fn whole_run(
    tx: &mut Tx<'_>,
    lot_id: i64,
    deed: Deed,
    typed: &Typed,
) -> Result<(), Error> {
    let unit = lot_and_material(tx.conn, lot_id, tx.today)?.1.body.unit;
    let body = deed.document(unit, typed);
    match deed {
        Deed::Hold => lot_hold(tx, lot_id, &document_read(body)?),
        Deed::Release => lot_release(tx, lot_id),
        _ => Err(Error::not_found("deed of a whole lot", deed.as_str())),
    }
}
