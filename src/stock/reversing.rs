//! Taking a movement back: once, exactly, by another movement that names it.

use std::collections::HashSet;

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::grasp::{Grasp, grasp, leeway, settle, words};
use super::ledger::{MovementKind, Posting};
use super::post::Poster;
use super::store;
use crate::base::{Error, Money, Quantity, RefusalKind};
use crate::db::Tx;

/// The reversal of a movement.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReverseIn {
    /// Why; 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub reason: String,
}

/// Takes a movement back: exactly its quantity and value, once. Returns the lot.
///
/// # Errors
/// [`Error::NotFound`] without such a movement; [`Error::Refused`] for a movement of a cast (undo the cast's step instead) or a treatment,
/// a reversal, one already reversed, one that belongs to another, a receipt on which something stands, or when the stock
/// is no longer there.
pub fn movement_reverse(
    tx: &mut Tx<'_>,
    movement_id: i64,
    input: &ReverseIn,
) -> Result<i64, Error> {
    let reason = words(&input.reason)?;
    let original = store::movement_fetch(tx.conn, movement_id)?
        .ok_or_else(|| Error::not_found("movement", movement_id))?
        .posting()?;
    let pack_id = reversible(&original)?;
    let grasp = grasp(tx, pack_id)?;
    standing(tx, &grasp, movement_id, &original)?;
    if let Some(treatment) = store::treatment_of(tx.conn, movement_id)? {
        return wrong(format!(
            "the vials of a treatment are taken back with its coats: undo treatment {treatment}, or the pour that made it"
        ));
    }
    let day = reversal_day(tx, original.effective_on)?;
    let back = original.quantity.checked_neg()?;
    let leeway = leeway(
        tx,
        &grasp.pack,
        (original.effective_on, Some(movement_id)),
        day,
    )?;
    if back < Quantity::ZERO && original.quantity > leeway.most {
        let detail = format!(
            "taking back {} of pack {} is not possible: at most {} are there and not in use, on that day and since",
            original.quantity, grasp.pack.no, leeway.most
        );
        return Err(Error::refused(RefusalKind::HistoryConflict, detail));
    }
    let change = if leeway.evened_out { 0 } else { back.micro() };
    if change < 0 && grasp.lot.on_hand == original.quantity {
        // A receipt takes all its value along; what a count had found has none to take.
        let stranded = grasp.lot.remaining_value.checked_sub(original.value)?;
        if stranded > Money::ZERO {
            let detail = format!(
                "taking it back would leave a value of {stranded} without stock: count the pack again instead"
            );
            return Err(Error::refused(RefusalKind::HistoryConflict, detail));
        }
    }
    settle(tx, &grasp, change, |tx| {
        Poster::new().reverse(tx, (movement_id, &original), day, &reason)?;
        if original.kind == MovementKind::Count {
            recounted(tx, &grasp)?;
        }
        Ok(())
    })?;
    Ok(grasp.lot.id)
}

fn wrong<T>(detail: impl Into<String>) -> Result<T, Error> {
    Err(Error::refused(RefusalKind::WrongState, detail))
}

/// The pack of a movement that may be taken back by itself, as far as the movement alone tells.
fn reversible(original: &Posting) -> Result<i64, Error> {
    if original.cast_id.is_some() {
        return wrong("a cast's movements are taken back together: undo the cast's last step");
    }
    if original.kind == MovementKind::Reversal {
        return wrong("a reversal is not reversed: post the movement anew");
    }
    if store::is_offset(original.purpose.as_deref()) {
        return wrong("it evens out another entry against a count: take that entry back");
    }
    match original.pack_id {
        Some(pack_id) => Ok(pack_id),
        None => wrong("a change of value is corrected by another price correction"),
    }
}

/// Refuses what was taken back already, and what other entries stand on.
fn standing(
    tx: &mut Tx<'_>,
    grasp: &Grasp,
    movement_id: i64,
    original: &Posting,
) -> Result<(), Error> {
    if let Some(by) = store::reversed_by(tx.conn, movement_id)? {
        return wrong(format!(
            "movement {movement_id} was taken back by movement {by} already"
        ));
    }
    let conflict = |detail: &str| Err(Error::refused(RefusalKind::HistoryConflict, detail));
    match original.kind {
        MovementKind::Receipt if stands_on_receipt(tx, grasp.lot.id)? => conflict(
            "the lot has been used or counted since: a receipt can only be taken back when nothing stands on it",
        ),
        MovementKind::Count if store::has_offsets(tx.conn, movement_id)? => conflict(
            "entries recorded since were evened out against this count: count the pack again instead",
        ),
        _ => Ok(()),
    }
}

/// Sets the day of the pack's last count right after a count was taken back.
fn recounted(tx: &mut Tx<'_>, grasp: &Grasp) -> Result<(), Error> {
    let pack_id = grasp.pack.id;
    let anchors = store::anchors(tx.conn, pack_id, grasp.lot.received_on)?;
    let mut row =
        store::pack_fetch(tx.conn, pack_id)?.ok_or_else(|| Error::not_found("pack", pack_id))?;
    row.counted_on = anchors.iter().map(|anchor| anchor.counted_on).max();
    store::pack_touch(tx.conn, &row)
}

/// The original's day, or today when the original's period is closed since.
pub(super) fn reversal_day(tx: &mut Tx<'_>, original: NaiveDate) -> Result<NaiveDate, Error> {
    let closed = store::guard_share(tx.conn)?;
    Ok(if closed.is_some_and(|closed| original <= closed) {
        tx.today
    } else {
        original
    })
}

/// Whether anything but receipts stands in the lot: what was taken back does not.
fn stands_on_receipt(tx: &mut Tx<'_>, lot_id: i64) -> Result<bool, Error> {
    let all = store::movements_of_lot(tx.conn, lot_id, 0, i64::MAX)?;
    let reversed: HashSet<i64> = all.iter().filter_map(|m| m.reverses_id).collect();
    let stands = |m: &store::MovementRow| {
        m.reverses_id.is_none()
            && m.kind != MovementKind::Receipt.as_str()
            && !reversed.contains(&m.id)
    };
    Ok(all.iter().any(stands))
}
