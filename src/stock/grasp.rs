//! What every bench event begins and ends with: the pack in hand, locked with all that re-picking may touch; the checks
//! of its words and its day; and the settling of promises around the change.

use chrono::NaiveDate;

use super::backdate::{anchor_after, most_on};
use super::load::day_open;
use super::settle::{lock_reach, release_before, repick_after};
use super::shelf::PackFacts;
use super::store::{self, LotRow, PackRow};
use crate::base::{Error, Quantity, RefusalKind, short_words};
use crate::db::Tx;

/// A pack with its lot, locked together with all that re-picking may touch.
pub(super) struct Grasp {
    pub(super) pack: PackRow,
    pub(super) lot: LotRow,
}

/// Takes a pack in hand.
pub(super) fn grasp(tx: &mut Tx<'_>, pack_id: i64) -> Result<Grasp, Error> {
    let missing = || Error::not_found("pack", pack_id);
    let lot_id = store::pack_fetch(tx.conn, pack_id)?
        .ok_or_else(missing)?
        .lot_id;
    let material_id = store::lot_fetch(tx.conn, lot_id)?
        .ok_or_else(missing)?
        .material_id;
    lock_reach(tx, &[material_id])?;
    // Read again: what was read before the lock may have changed.
    let pack = store::pack_fetch(tx.conn, pack_id)?.ok_or_else(missing)?;
    let lot = store::lot_fetch(tx.conn, lot_id)?.ok_or_else(missing)?;
    Ok(Grasp { pack, lot })
}

/// A reason that must be given.
pub(super) fn words(reason: &str) -> Result<String, Error> {
    let reason = words_or_none(reason)?;
    if reason.is_empty() {
        return Err(Error::invalid(
            "/reason",
            "no reason is given: write 1 to 200 characters",
        ));
    }
    Ok(reason)
}

/// A reason that may be left out.
pub(super) fn words_or_none(reason: &str) -> Result<String, Error> {
    short_words("/reason", "a reason", reason).map_err(Error::from)
}

/// Refuses a bench day in the future, in a closed period, or before the lot was received.
pub(super) fn bench_day(
    tx: &mut Tx<'_>,
    pointer: &str,
    day: NaiveDate,
    lot: &LotRow,
) -> Result<(), Error> {
    day_open(tx, pointer, day)?;
    if day < lot.received_on {
        return Err(Error::invalid(
            pointer,
            format!(
                "{day} is before the lot was received on {}",
                lot.received_on
            ),
        ));
    }
    Ok(())
}

/// Refuses a part of a piece where a material is kept in pieces.
pub(super) fn whole(
    tx: &mut Tx<'_>,
    grasp: &Grasp,
    pointer: &str,
    quantity: Quantity,
) -> Result<(), Error> {
    let unit = crate::catalogue::material_by_id(tx.conn, grasp.lot.material_id)?
        .body
        .unit;
    if unit == crate::base::Unit::Each && quantity.micro() % 1_000_000 != 0 {
        return Err(Error::invalid(
            pointer,
            format!("{quantity} is not a whole number of pieces"),
        ));
    }
    Ok(())
}

/// The place in a pack's history of a change: its day, and the movement when it was recorded already.
pub(super) type Place = (NaiveDate, Option<i64>);

/// What a change at a place does to the pack as it is now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Leeway {
    /// The most that can be taken there without any day's end falling below 0.
    pub(super) history: Quantity,
    /// The same without what is in use.
    pub(super) most: Quantity,
    /// Whether the pack holds the same afterwards, because a count after the place evens the change out.
    pub(super) evened_out: bool,
}

/// How much can be taken from a pack at a place in its history, on a day of the books (that of the place, or a later one).
pub(super) fn leeway(
    tx: &mut Tx<'_>,
    pack: &PackRow,
    place: Place,
    day: NaiveDate,
) -> Result<Leeway, Error> {
    let anchors = store::anchors(tx.conn, pack.id, place.0)?;
    let until = anchor_after(&anchors, place.0, place.1).map(|anchor| anchor.counted_on.max(day));
    let changes = store::movements_by_day(tx.conn, pack.id)?;
    let history = match until {
        // Evened out on the very day: no day's end sees it.
        Some(until) if until <= day => Quantity::from_micro(i64::MAX),
        _ => Quantity::from_micro(most_on(&changes, day, until)),
    };
    let most = if until.is_some() {
        history
    } else {
        let in_use = in_use(tx, pack.id)?.1;
        history.min(pack.on_hand.checked_sub(in_use)?)
    };
    Ok(Leeway {
        history,
        most,
        evened_out: until.is_some(),
    })
}

/// What of a pack casts that are poured hold until they are demoulded: their codes, and how much.
pub(super) fn in_use(tx: &mut Tx<'_>, pack_id: i64) -> Result<(Vec<String>, Quantity), Error> {
    let rows = store::promised_in_use(tx.conn, pack_id)?;
    let total = Quantity::checked_sum(rows.iter().map(|row| row.1))?;
    let mut casts: Vec<String> = rows.into_iter().map(|row| row.0).collect();
    casts.dedup();
    Ok((casts, total))
}

/// Posts a change of a pack's quantity between releasing what it breaks and re-picking. `change` is what the pack holds
/// more or less afterwards, in millionths.
pub(super) fn settle(
    tx: &mut Tx<'_>,
    grasp: &Grasp,
    change: i64,
    act: impl FnOnce(&mut Tx<'_>) -> Result<(), Error>,
) -> Result<(), Error> {
    let (pack_id, materials) = (grasp.pack.id, [grasp.lot.material_id]);
    let left = grasp.pack.on_hand.micro().saturating_add(change).max(0);
    if change < 0 {
        let (casts, in_use) = in_use(tx, pack_id)?;
        if left < in_use.micro() {
            let detail = format!(
                "{in_use} of the pack are in use by {}, which holds them until it is demoulded: only {} could be missing",
                casts.join(", "),
                grasp.pack.on_hand.checked_sub(in_use)?
            );
            return Err(Error::refused(RefusalKind::WrongState, detail)
                .with("in_use_by", casts)
                .with("in_use", in_use.to_string()));
        }
    }
    release_before(tx, &materials, |shelf| {
        alter(shelf, pack_id, |pack| {
            pack.on_hand = Quantity::from_micro(left)
        });
    })?;
    act(tx)?;
    repick_after(tx, &materials)
}

/// Applies a change to one pack of the shelf.
pub(super) fn alter(shelf: &mut [PackFacts], pack_id: i64, change: impl FnOnce(&mut PackFacts)) {
    if let Some(pack) = shelf.iter_mut().find(|pack| pack.pack_id == pack_id) {
        change(pack);
    }
}
