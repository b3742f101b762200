//! Settling: the one way in which a change of stock meets the promises made to booked casts.
//!
//! An operation that lowers stock calls [`release_before`] with the change, then posts, then calls [`repick_after`]; one
//! that raises it only calls the last. All in the operation's own transaction, so that no cast is ever promised what is
//! not there, and a cast that comes short is marked and warned of at once.

use std::collections::BTreeSet;

use super::load::shelf;
use super::repicking::{BookedCast, repick};
use super::shelf::PackFacts;
use super::store;
use super::warnings::{Alarm, Subject, warning_clear, warning_raise};
use crate::base::Error;
use crate::db::Tx;

/// The materials, and those that `casts` need besides: re-picking may have to touch them all.
fn reach(materials: &[i64], casts: &[BookedCast]) -> BTreeSet<i64> {
    let of_casts = casts.iter().flat_map(|cast| &cast.needs);
    let materials = materials.iter().copied();
    materials
        .chain(of_casts.map(|need| need.material_id))
        .collect()
}

/// Locks what re-picking of `materials` may touch, in the order of ids, before anything is decided.
///
/// While this waits, a cast may be booked that needs one of the materials and others besides. Locking those then would
/// break the order, so the locks are given up and the larger set is locked from the start.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lock_reach(tx: &mut Tx<'_>, materials: &[i64]) -> Result<(), Error> {
    store::guard_share(tx.conn)?;
    if !store::rows_are_locked(tx.conn) {
        return Ok(());
    }
    let mut wanted = reach(materials, &store::casts_booked(tx.conn, materials)?);
    loop {
        let ids: Vec<i64> = wanted.iter().copied().collect();
        store::locks_begin(tx.conn)?;
        store::materials_lock(tx.conn, &ids)?;
        let now = reach(materials, &store::casts_booked(tx.conn, materials)?);
        if now.is_subset(&wanted) {
            return store::locks_keep(tx.conn);
        }
        store::locks_drop(tx.conn)?;
        wanted.extend(now);
    }
}

/// Releases the promises that `change` will break.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn release_before(
    tx: &mut Tx<'_>,
    materials: &[i64],
    change: impl FnOnce(&mut [PackFacts]),
) -> Result<(), Error> {
    let (mut shelf, casts) = loaded(tx, materials)?;
    change(&mut shelf);
    let outcome = repick(&mut shelf, &casts);
    let now = tx.stored_now();
    store::reservations_resolve(tx.conn, &outcome.release, "released", now)
}

/// Re-picks from the books as they now stand, marks casts short or no longer short, and warns.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn repick_after(tx: &mut Tx<'_>, materials: &[i64]) -> Result<(), Error> {
    let (mut shelf, casts) = loaded(tx, materials)?;
    let outcome = repick(&mut shelf, &casts);
    let now = tx.stored_now();
    store::reservations_resolve(tx.conn, &outcome.release, "released", now)?;
    for promise in &outcome.promises {
        store::reservation_insert(tx.conn, promise, now)?;
    }
    for cast in &casts {
        mark(tx, cast, outcome.lacking.contains(&cast.cast_id))?;
    }
    Ok(())
}

fn loaded(tx: &mut Tx<'_>, materials: &[i64]) -> Result<(Vec<PackFacts>, Vec<BookedCast>), Error> {
    let casts = store::casts_booked(tx.conn, materials)?;
    let reach: Vec<i64> = reach(materials, &casts).into_iter().collect();
    Ok((shelf(tx.conn, &reach)?, casts))
}

/// Writes whether a cast is short, when that has changed, and raises or clears its warning.
fn mark(tx: &mut Tx<'_>, cast: &BookedCast, short: bool) -> Result<(), Error> {
    if cast.short == short {
        return Ok(());
    }
    let (code, day) = store::cast_short_set(tx.conn, cast.cast_id, short)?;
    let subject = Subject {
        kind: "cast_short",
        noun: "cast",
        code: &code,
    };
    if !short {
        return warning_clear(tx, &subject);
    }
    let reason = format!(
        "Cast {code} on {day} has lost material it counted on, and there is no other to promise it."
    );
    warning_raise(
        tx,
        &subject,
        &Alarm {
            severity: 3,
            due_on: Some(day),
            reason,
        },
    )
}
