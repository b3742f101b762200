//! What casting does with the stock: promise, consume, give back, take back.

use std::collections::{BTreeSet, HashMap};

use chrono::NaiveDate;

use super::grasp::leeway;
use super::needs::{Need, Purpose};
use super::post::Poster;
use super::repicking::{Held, Promise};
use super::reversing::reversal_day;
use super::settle::lock_reach;
use super::store;
use crate::base::{Error, Quantity};
use crate::db::{AnyConnection, Tx};

/// Records what a cast needs and promises it what was picked.
///
/// # Errors
/// [`Error::Internal`] when a promise would exceed what a pack holds: decide on a locked shelf.
pub fn cast_promise(
    tx: &mut Tx<'_>,
    cast_id: i64,
    needs: &[Need],
    promises: &[Promise],
) -> Result<(), Error> {
    store::needs_insert(tx.conn, cast_id, needs)?;
    let now = tx.stored_now();
    promises
        .iter()
        .try_for_each(|promise| store::reservation_insert(tx.conn, promise, now))
}

/// Promises a cast more, beside what it needs by its plan.
///
/// # Errors
/// [`Error::Internal`] when a promise would exceed what a pack holds.
pub fn cast_repromise(tx: &mut Tx<'_>, promises: &[Promise]) -> Result<(), Error> {
    let now = tx.stored_now();
    promises
        .iter()
        .try_for_each(|promise| store::reservation_insert(tx.conn, promise, now))
}

/// The promises a cast holds.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_holds(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<Held>, Error> {
    Ok(store::reservations_active(conn, &[cast_id])?
        .remove(&cast_id)
        .unwrap_or_default())
}

/// What a cast needs.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_needs(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<Need>, Error> {
    Ok(store::needs_of(conn, &[cast_id])?
        .remove(&cast_id)
        .unwrap_or_default())
}

/// What casts need, by cast.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn needs_of_casts(
    conn: &mut AnyConnection,
    cast_ids: &[i64],
) -> Result<HashMap<i64, Vec<Need>>, Error> {
    store::needs_of(conn, cast_ids)
}

/// Replaces what a cast needs for one purpose. What it was promised for it is released: follow it with
/// [`repick_after`](super::settle::repick_after).
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_need_replace(
    tx: &mut Tx<'_>,
    cast_id: i64,
    purpose: Purpose,
    needs: &[Need],
) -> Result<(), Error> {
    let held: Vec<i64> = cast_holds(tx.conn, cast_id)?
        .into_iter()
        .filter(|held| held.purpose == purpose)
        .map(|held| held.reservation_id)
        .collect();
    promises_release(tx, &held)?;
    store::needs_delete(tx.conn, cast_id, purpose)?;
    store::needs_insert(tx.conn, cast_id, needs)
}

/// Releases all promises of a booked cast and forgets what it needs, so that it can be planned again. Give it needs and
/// promises anew in the same transaction.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_unpromise(tx: &mut Tx<'_>, cast_id: i64) -> Result<(), Error> {
    let held: Vec<i64> = cast_holds(tx.conn, cast_id)?
        .into_iter()
        .map(|held| held.reservation_id)
        .collect();
    promises_release(tx, &held)?;
    Purpose::ALL
        .into_iter()
        .try_for_each(|purpose| store::needs_delete(tx.conn, cast_id, purpose))
}

/// Resolves promises as consumed: what was promised was taken.
///
/// # Errors
/// [`Error::Internal`] when one was resolved before.
pub fn promises_consume(tx: &mut Tx<'_>, reservation_ids: &[i64]) -> Result<(), Error> {
    let now = tx.stored_now();
    store::reservations_resolve(tx.conn, reservation_ids, "consumed", now)
}

/// Releases promises, without re-picking: follow it with [`repick_after`](super::settle::repick_after).
///
/// # Errors
/// [`Error::Internal`] when one was resolved before.
pub fn promises_release(tx: &mut Tx<'_>, reservation_ids: &[i64]) -> Result<(), Error> {
    let now = tx.stored_now();
    store::reservations_resolve(tx.conn, reservation_ids, "released", now)
}

/// Locks the materials a cast needs and `besides`, and all that re-picking them may touch. Returns the materials.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_lock(tx: &mut Tx<'_>, cast_id: i64, besides: &[i64]) -> Result<Vec<i64>, Error> {
    let materials: BTreeSet<i64> = cast_needs(tx.conn, cast_id)?
        .into_iter()
        .map(|need| need.material_id)
        .chain(besides.iter().copied())
        .collect();
    let materials: Vec<i64> = materials.into_iter().collect();
    lock_reach(tx, &materials)?;
    Ok(materials)
}

/// Takes back every movement of a cast that still stands, the latest first. Casts that were short are served after it
/// by [`repick_after`](super::settle::repick_after).
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_movements_reverse(tx: &mut Tx<'_>, cast_id: i64, reason: &str) -> Result<(), Error> {
    let mut poster = Poster::new();
    for row in store::movements_standing(tx.conn, cast_id)? {
        let original = row.posting()?;
        let day = reversal_day(tx, original.effective_on)?;
        poster.reverse(tx, (row.id, &original), day, reason)?;
    }
    Ok(())
}

/// Takes back movements by their ids, in the order given; one that was taken back already is passed over.
///
/// # Errors
/// [`Error::Refused`] when the stock has moved on so that one cannot be taken back.
pub fn movements_reverse(tx: &mut Tx<'_>, ids: &[i64], reason: &str) -> Result<(), Error> {
    let mut poster = Poster::new();
    for id in ids {
        if store::reversed_by(tx.conn, *id)?.is_some() {
            continue;
        }
        let original = store::movement_fetch(tx.conn, *id)?
            .ok_or_else(|| Error::not_found("movement", *id))?
            .posting()?;
        let day = reversal_day(tx, original.effective_on)?;
        poster.reverse(tx, (*id, &original), day, reason)?;
    }
    Ok(())
}

/// A pack as casting takes from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackPlace {
    /// The lot.
    pub lot_id: i64,
    /// The material.
    pub material_id: i64,
    /// What the pack holds.
    pub on_hand: Quantity,
    /// When it was opened.
    pub opened_on: Option<NaiveDate>,
    /// When its lot was received.
    pub received_on: NaiveDate,
    /// What the pack held when it came.
    pub received: Quantity,
    /// Uses taken so far, for durables.
    pub uses: i64,
}

/// Where a pack stands.
///
/// # Errors
/// [`Error::NotFound`] without such a pack.
pub fn pack_place(conn: &mut AnyConnection, pack_id: i64) -> Result<PackPlace, Error> {
    let pack =
        store::pack_fetch(conn, pack_id)?.ok_or_else(|| Error::not_found("pack", pack_id))?;
    let lot =
        store::lot_fetch(conn, pack.lot_id)?.ok_or_else(|| Error::not_found("lot", pack.lot_id))?;
    Ok(PackPlace {
        lot_id: lot.id,
        material_id: lot.material_id,
        on_hand: pack.on_hand,
        opened_on: pack.opened_on,
        received_on: lot.received_on,
        received: pack.received,
        uses: pack.uses,
    })
}

/// Notes that something is taken from a pack on a day: it is open from that day at the latest. `pointer` is where the day
/// was given.
///
/// # Errors
/// [`Error::Invalid`] for a day before the lot was received; [`Error::NotFound`] without such a pack.
pub fn pack_begin(
    tx: &mut Tx<'_>,
    pack_id: i64,
    on: NaiveDate,
    pointer: &str,
) -> Result<(), Error> {
    let place = pack_place(tx.conn, pack_id)?;
    if on < place.received_on {
        let detail = format!(
            "{on} is before lot {} was received on {}",
            place.lot_id, place.received_on
        );
        return Err(Error::invalid(pointer, detail));
    }
    match place.opened_on {
        None => pack_used(tx, pack_id, Some(on), 0),
        Some(_) => Ok(()),
    }
}

/// Notes that a pack was first used on a day, and counts uses of a durable; `uses` may be negative when a step is undone.
///
/// # Errors
/// [`Error::NotFound`] without such a pack.
pub fn pack_used(
    tx: &mut Tx<'_>,
    pack_id: i64,
    opened_on: Option<NaiveDate>,
    uses: i64,
) -> Result<(), Error> {
    let mut pack =
        store::pack_fetch(tx.conn, pack_id)?.ok_or_else(|| Error::not_found("pack", pack_id))?;
    pack.opened_on = pack.opened_on.or(opened_on);
    pack.uses += uses;
    store::pack_touch(tx.conn, &pack)
}

/// The most that can be taken from a pack on a day without any later day falling below 0 and without what casts that are
/// poured have in use. On a day before the pack's last count this may be more than the pack holds now: what is taken there
/// is evened out against the count.
///
/// # Errors
/// [`Error::NotFound`] without such a pack.
pub fn pack_most_on(tx: &mut Tx<'_>, pack_id: i64, day: NaiveDate) -> Result<Quantity, Error> {
    let pack =
        store::pack_fetch(tx.conn, pack_id)?.ok_or_else(|| Error::not_found("pack", pack_id))?;
    Ok(leeway(tx, &pack, (day, None), day)?.most)
}
