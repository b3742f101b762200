//! Bench events that change no quantity: a pack is opened, held back, let go.
//!
//! Each lowers or raises what is available, so each settles the promises made to booked casts in its own transaction.
//! Deliberately absent: counts (`counting`), losses (`losing`) and reversals (`reversing`).

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::grasp::{alter, bench_day, grasp, words};
use super::settle::{lock_reach, release_before, repick_after};
use super::shelf::PackFacts;
use super::store::{self, LotRow, PackRow};
use crate::base::{Error, Quantity, RefusalKind};
use crate::db::Tx;

/// The opening of a pack.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenIn {
    /// The day; today unless said.
    pub opened_on: Option<NaiveDate>,
}

/// A reason in words.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HoldIn {
    /// Why; 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub reason: String,
}

/// Changes the own columns of packs of one lot and settles the promises, once for all of them.
fn change(
    tx: &mut Tx<'_>,
    lot: &LotRow,
    packs: &[i64],
    edit: impl Fn(&mut PackRow),
    see: impl Fn(&mut PackFacts),
) -> Result<(), Error> {
    let material = [lot.material_id];
    release_before(tx, &material, |shelf| {
        packs.iter().for_each(|id| alter(shelf, *id, &see));
    })?;
    for id in packs {
        let mut row =
            store::pack_fetch(tx.conn, *id)?.ok_or_else(|| Error::not_found("pack", id))?;
        edit(&mut row);
        store::pack_touch(tx.conn, &row)?;
    }
    repick_after(tx, &material)
}

/// Opens a pack: its open life begins. Returns the lot.
///
/// # Errors
/// [`Error::NotFound`] without such a pack; [`Error::Invalid`] for a day before its receipt or after today;
/// [`Error::Refused`] when it is open already.
pub fn pack_open(tx: &mut Tx<'_>, pack_id: i64, input: &OpenIn) -> Result<i64, Error> {
    let grasp = grasp(tx, pack_id)?;
    let day = input.opened_on.unwrap_or(tx.today);
    bench_day(tx, "/opened_on", day, &grasp.lot)?;
    if let Some(opened) = grasp.pack.opened_on {
        return Err(Error::refused(
            RefusalKind::WrongState,
            format!("the pack was opened on {opened} already"),
        ));
    }
    change(
        tx,
        &grasp.lot,
        &[pack_id],
        |row| row.opened_on = Some(day),
        |pack| pack.opened_on = Some(day),
    )?;
    Ok(grasp.lot.id)
}

/// Holds a pack back: nothing is promised from it, and what was is promised from others. Returns the lot.
///
/// # Errors
/// [`Error::NotFound`] without such a pack; [`Error::Invalid`] without a reason.
pub fn pack_hold(tx: &mut Tx<'_>, pack_id: i64, input: &HoldIn) -> Result<i64, Error> {
    let reason = words(&input.reason)?;
    let grasp = grasp(tx, pack_id)?;
    packs_hold(tx, &grasp.lot, &[pack_id], Some(&reason))?;
    Ok(grasp.lot.id)
}

/// Lets a held pack go. Returns the lot.
///
/// # Errors
/// [`Error::NotFound`] without such a pack; [`Error::Refused`] when it is not held.
pub fn pack_release(tx: &mut Tx<'_>, pack_id: i64) -> Result<i64, Error> {
    let grasp = grasp(tx, pack_id)?;
    if grasp.pack.held_reason.is_none() {
        return Err(Error::refused(
            RefusalKind::WrongState,
            "the pack is not held",
        ));
    }
    packs_hold(tx, &grasp.lot, &[pack_id], None)?;
    Ok(grasp.lot.id)
}

fn packs_hold(
    tx: &mut Tx<'_>,
    lot: &LotRow,
    packs: &[i64],
    reason: Option<&str>,
) -> Result<(), Error> {
    let held = || reason.map(str::to_owned);
    change(
        tx,
        lot,
        packs,
        |row| row.held_reason = held(),
        |pack| pack.held_reason = held(),
    )
}

/// A lot's packs that `admit` lets pass, after the lock.
fn packs_of(
    tx: &mut Tx<'_>,
    lot_id: i64,
    admit: impl Fn(&PackRow) -> bool,
) -> Result<(LotRow, Vec<i64>), Error> {
    let lot = store::lot_fetch(tx.conn, lot_id)?.ok_or_else(|| Error::not_found("lot", lot_id))?;
    lock_reach(tx, &[lot.material_id])?;
    let packs = store::packs_of_lots(tx.conn, &[lot_id])?;
    let ids = packs.iter().filter(|pack| admit(pack));
    Ok((lot, ids.map(|pack| pack.id).collect()))
}

/// Holds every pack of a lot that has anything in it.
///
/// # Errors
/// [`Error::NotFound`] without such a lot; [`Error::Invalid`] without a reason; [`Error::Refused`] when the lot is spent.
pub fn lot_hold(tx: &mut Tx<'_>, lot_id: i64, input: &HoldIn) -> Result<(), Error> {
    let reason = words(&input.reason)?;
    let (lot, packs) = packs_of(tx, lot_id, |pack| pack.on_hand > Quantity::ZERO)?;
    if packs.is_empty() {
        let detail = "the lot is spent: there is nothing to hold back";
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    packs_hold(tx, &lot, &packs, Some(&reason))
}

/// Lets every held pack of a lot go.
///
/// # Errors
/// [`Error::NotFound`] without such a lot; [`Error::Refused`] when no pack of it is held.
pub fn lot_release(tx: &mut Tx<'_>, lot_id: i64) -> Result<(), Error> {
    let (lot, packs) = packs_of(tx, lot_id, |pack| pack.held_reason.is_some())?;
    if packs.is_empty() {
        let detail = "no pack of the lot is held";
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    packs_hold(tx, &lot, &packs, None)
}
