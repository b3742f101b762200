//! Bench events on a pack: open, hold, release, count, spill, write off; and the reversal of one of them.
//!
//! Each lowers or raises what is available, so each settles the promises made to booked casts in its own transaction.

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::backdate::{balance_on, most_on};
use super::ledger::{MovementKind, Posting};
use super::load::day_open;
use super::post::{Occasion, Poster};
use super::settle::{lock_reach, release_before, repick_after};
use super::shelf::PackFacts;
use super::store::{self, LotRow, PackRow};
use crate::base::{Error, Quantity, RefusalKind};
use crate::catalogue::material_by_id;
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
    #[schema(min_length = 1, max_length = 200)]
    pub reason: String,
}

/// A count: what is there, by counting or by weighing.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CountIn {
    /// What is there, in the material's unit.
    pub on_hand: Option<Quantity>,
    /// Or: what the pack weighs with what is in it, in grams.
    pub gross_g: Option<Quantity>,
    /// With `gross_g`: what the empty pack weighs, in grams; kept for the next time.
    pub tare_g: Option<Quantity>,
    /// With `gross_g`: what the full pack weighed when it came, in grams; kept for the next time.
    pub gross_at_receipt_g: Option<Quantity>,
    /// The day; today unless said.
    pub counted_on: Option<NaiveDate>,
    /// Why, in words.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub reason: String,
}

/// A loss: spilled, or thrown away.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LossIn {
    /// How much, in the material's unit; all that is there unless said.
    pub quantity: Option<Quantity>,
    /// Why; 1 to 200 characters. For a write-off: expired, contaminated, lost, heel, or words of your own.
    #[schema(min_length = 1, max_length = 200)]
    pub reason: String,
    /// The day; today unless said.
    pub on: Option<NaiveDate>,
}

/// The reversal of a movement.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReverseIn {
    /// Why; 1 to 200 characters.
    #[schema(min_length = 1, max_length = 200)]
    pub reason: String,
}

/// A pack with its lot, locked together with all that re-picking may touch.
struct Grasp {
    pack: PackRow,
    lot: LotRow,
}

fn grasp(tx: &mut Tx<'_>, pack_id: i64) -> Result<Grasp, Error> {
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

fn words(reason: &str) -> Result<String, Error> {
    let reason = reason.trim();
    let length = reason.chars().count();
    if length == 0 || length > 200 || reason.chars().any(char::is_control) {
        return Err(Error::invalid(
            "/reason",
            format!(
                "a reason has 1 to 200 characters, none of them a control character; this has {length}"
            ),
        ));
    }
    Ok(reason.to_owned())
}

/// Changes a pack's own columns and settles the promises.
fn change(
    tx: &mut Tx<'_>,
    grasp: Grasp,
    edit: impl Fn(&mut PackRow),
    see: impl FnOnce(&mut PackFacts),
) -> Result<i64, Error> {
    let (pack_id, material) = (grasp.pack.id, grasp.lot.material_id);
    release_before(tx, &[material], |shelf| alter(shelf, pack_id, see))?;
    let mut row =
        store::pack_fetch(tx.conn, pack_id)?.ok_or_else(|| Error::not_found("pack", pack_id))?;
    edit(&mut row);
    store::pack_touch(tx.conn, &row)?;
    repick_after(tx, &[material])?;
    Ok(grasp.lot.id)
}

/// Applies a change to one pack of the shelf.
fn alter(shelf: &mut [PackFacts], pack_id: i64, change: impl FnOnce(&mut PackFacts)) {
    if let Some(pack) = shelf.iter_mut().find(|pack| pack.pack_id == pack_id) {
        change(pack);
    }
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
        grasp,
        |row| row.opened_on = Some(day),
        |pack| pack.opened_on = Some(day),
    )
}

/// Holds a pack back: nothing is promised from it, and what was is promised from others. Returns the lot.
///
/// # Errors
/// [`Error::NotFound`] without such a pack; [`Error::Invalid`] without a reason.
pub fn pack_hold(tx: &mut Tx<'_>, pack_id: i64, input: &HoldIn) -> Result<i64, Error> {
    let grasp = grasp(tx, pack_id)?;
    let reason = words(&input.reason)?;
    change(
        tx,
        grasp,
        |row| row.held_reason = Some(reason.clone()),
        |pack| pack.held_reason = Some(reason.clone()),
    )
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
    change(
        tx,
        grasp,
        |row| row.held_reason = None,
        |pack| pack.held_reason = None,
    )
}

/// Holds or releases every pack of a lot that has anything in it.
///
/// # Errors
/// [`Error::NotFound`] without such a lot, and those of holding and releasing a pack.
pub fn lot_hold(tx: &mut Tx<'_>, lot_id: i64, hold: Option<&HoldIn>) -> Result<(), Error> {
    store::lot_fetch(tx.conn, lot_id)?.ok_or_else(|| Error::not_found("lot", lot_id))?;
    for pack in store::packs_of_lots(tx.conn, &[lot_id])? {
        match hold {
            Some(input) => {
                pack_hold(tx, pack.id, input)?;
            }
            None if pack.held_reason.is_some() => {
                pack_release(tx, pack.id)?;
            }
            None => {}
        }
    }
    Ok(())
}

fn bench_day(tx: &mut Tx<'_>, pointer: &str, day: NaiveDate, lot: &LotRow) -> Result<(), Error> {
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

/// Counts a pack: the difference to the books is posted. Returns the lot.
///
/// # Errors
/// [`Error::Invalid`] when neither or both of a count and a weighing are given, or they make no sense;
/// [`Error::Refused`] when later entries stand against it.
pub fn pack_count(tx: &mut Tx<'_>, pack_id: i64, input: &CountIn) -> Result<i64, Error> {
    let grasp = grasp(tx, pack_id)?;
    let day = input.counted_on.unwrap_or(tx.today);
    bench_day(tx, "/counted_on", day, &grasp.lot)?;
    let found = counted(tx, &grasp, input)?;
    let changes = store::movements_by_day(tx.conn, pack_id)?;
    let difference = found.micro() - balance_on(&changes, day);
    if difference < 0 && -difference > most_on(&changes, day) {
        let detail =
            format!("{found} on {day} would leave a later day below 0: count as of today instead");
        return Err(Error::refused(RefusalKind::HistoryConflict, detail));
    }
    settle(tx, &grasp, difference, |tx| {
        if difference != 0 {
            let occasion = Occasion {
                effective_on: day,
                reason: input.reason.trim().to_owned(),
                ..Occasion::default()
            };
            Poster::new().count(
                tx,
                (grasp.lot.id, pack_id),
                Quantity::from_micro(difference),
                &occasion,
            )?;
        }
        let mut row = store::pack_fetch(tx.conn, pack_id)?
            .ok_or_else(|| Error::not_found("pack", pack_id))?;
        row.counted_on = Some(row.counted_on.map_or(day, |before| before.max(day)));
        row.tare = input.tare_g.or(row.tare);
        row.gross_at_receipt = input.gross_at_receipt_g.or(row.gross_at_receipt);
        store::pack_touch(tx.conn, &row)
    })?;
    Ok(grasp.lot.id)
}

/// What a count or a weighing says is there.
fn counted(tx: &mut Tx<'_>, grasp: &Grasp, input: &CountIn) -> Result<Quantity, Error> {
    let found = match (input.on_hand, input.gross_g) {
        (Some(found), None) => found,
        (None, Some(gross)) => weighed(tx, grasp, input, gross)?,
        _ => {
            return Err(Error::invalid(
                "",
                "give either `on_hand` (counted) or `gross_g` (weighed)",
            ));
        }
    };
    if found < Quantity::ZERO {
        return Err(Error::invalid("/on_hand", format!("{found} is below 0")));
    }
    let whole =
        material_by_id(tx.conn, grasp.lot.material_id)?.body.unit == crate::base::Unit::Each;
    if whole && found.micro() % 1_000_000 != 0 {
        return Err(Error::invalid(
            "/on_hand",
            format!("{found} is not a whole number of pieces"),
        ));
    }
    Ok(found)
}

/// Weighing: gross - tare where the tare is known, else net at receipt - (gross at receipt - gross now).
fn weighed(
    tx: &mut Tx<'_>,
    grasp: &Grasp,
    input: &CountIn,
    gross: Quantity,
) -> Result<Quantity, Error> {
    if material_by_id(tx.conn, grasp.lot.material_id)?.body.unit != crate::base::Unit::G {
        return Err(Error::invalid(
            "/gross_g",
            "only a material kept in grams can be counted by weighing; give `on_hand`",
        ));
    }
    let net = match (
        input.tare_g.or(grasp.pack.tare),
        input.gross_at_receipt_g.or(grasp.pack.gross_at_receipt),
    ) {
        (Some(tare), _) => gross.checked_sub(tare)?,
        (None, Some(at_receipt)) => grasp
            .pack
            .received
            .checked_sub(at_receipt.checked_sub(gross)?)?,
        (None, None) => {
            let detail = "weighing needs the empty pack's `tare_g`, or what it weighed full, `gross_at_receipt_g`";
            return Err(Error::invalid("/gross_g", detail));
        }
    };
    if net < Quantity::ZERO || net > grasp.pack.received {
        let detail = format!(
            "{gross} g gross would mean {net} g in a pack of {} g: check gross and tare",
            grasp.pack.received
        );
        return Err(Error::invalid("/gross_g", detail));
    }
    Ok(net)
}

/// Posts a change of a pack's quantity between releasing what it breaks and re-picking.
fn settle(
    tx: &mut Tx<'_>,
    grasp: &Grasp,
    change: i64,
    act: impl FnOnce(&mut Tx<'_>) -> Result<(), Error>,
) -> Result<(), Error> {
    let (pack_id, materials) = (grasp.pack.id, [grasp.lot.material_id]);
    release_before(tx, &materials, |shelf| {
        alter(shelf, pack_id, |pack| {
            pack.on_hand = Quantity::from_micro((pack.on_hand.micro() + change).max(0))
        });
    })?;
    act(tx)?;
    repick_after(tx, &materials)
}

/// Takes a loss from a pack: `spill` or `write_off`. Returns the lot.
///
/// # Errors
/// [`Error::Invalid`] for a quantity that is not there on that day or a day that cannot be; [`Error::Refused`] for a closed period.
pub fn pack_lose(
    tx: &mut Tx<'_>,
    pack_id: i64,
    kind: MovementKind,
    input: &LossIn,
) -> Result<i64, Error> {
    let grasp = grasp(tx, pack_id)?;
    let reason = words(&input.reason)?;
    let day = input.on.unwrap_or(tx.today);
    bench_day(tx, "/on", day, &grasp.lot)?;
    let most = most_on(&store::movements_by_day(tx.conn, pack_id)?, day);
    let quantity = input.quantity.unwrap_or(Quantity::from_micro(most));
    if quantity <= Quantity::ZERO || quantity.micro() > most {
        let detail = format!(
            "{quantity} cannot be taken on {day}: more than 0 and at most {} are there",
            Quantity::from_micro(most)
        );
        return Err(Error::invalid("/quantity", detail));
    }
    settle(tx, &grasp, -quantity.micro(), |tx| {
        let occasion = Occasion {
            effective_on: day,
            reason,
            ..Occasion::default()
        };
        Poster::new()
            .issue(tx, (grasp.lot.id, pack_id), kind, quantity, &occasion)
            .map(drop)
    })?;
    Ok(grasp.lot.id)
}

/// Takes a movement back: exactly its quantity and value, once. Returns the lot.
///
/// # Errors
/// [`Error::NotFound`] without such a movement; [`Error::Refused`] for a movement of a cast (undo the cast's step instead),
/// a reversal, one already reversed, a receipt on which something stands, or when the stock is no longer there.
pub fn movement_reverse(
    tx: &mut Tx<'_>,
    movement_id: i64,
    input: &ReverseIn,
) -> Result<i64, Error> {
    let reason = words(&input.reason)?;
    let row = store::movement_fetch(tx.conn, movement_id)?
        .ok_or_else(|| Error::not_found("movement", movement_id))?;
    let wrong = |detail: String| Err(Error::refused(RefusalKind::WrongState, detail));
    let original = row.posting()?;
    if original.cast_id.is_some() {
        return wrong(
            "a cast's movements are taken back together: undo the cast's last step".to_owned(),
        );
    }
    if original.kind == MovementKind::Reversal {
        return wrong("a reversal is not reversed: post the movement anew".to_owned());
    }
    let Some(pack_id) = original.pack_id else {
        return wrong("a change of value is corrected by another price correction".to_owned());
    };
    let grasp = grasp(tx, pack_id)?;
    if let Some(by) = store::reversed_by(tx.conn, movement_id)? {
        return wrong(format!(
            "movement {movement_id} was taken back by movement {by} already"
        ));
    }
    if original.kind == MovementKind::Receipt && stands_on_receipt(tx, grasp.lot.id)? {
        let detail = "the lot has been used or counted since: a receipt can only be taken back when nothing stands on it";
        return Err(Error::refused(RefusalKind::HistoryConflict, detail));
    }
    let day = reversal_day(tx, original.effective_on)?;
    let back = original.quantity.checked_neg()?;
    if back < Quantity::ZERO
        && -back.micro() > most_on(&store::movements_by_day(tx.conn, pack_id)?, day)
    {
        let detail = format!(
            "taking it back would leave pack {} below 0 on a later day",
            grasp.pack.no
        );
        return Err(Error::refused(RefusalKind::HistoryConflict, detail));
    }
    settle(tx, &grasp, back.micro(), |tx| {
        reverse_post(tx, &mut Poster::new(), movement_id, &original, day, &reason)
    })?;
    Ok(grasp.lot.id)
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

/// Posts the reversal itself.
pub(super) fn reverse_post(
    tx: &mut Tx<'_>,
    poster: &mut Poster,
    movement_id: i64,
    original: &Posting,
    day: NaiveDate,
    reason: &str,
) -> Result<(), Error> {
    let reversal = Posting {
        kind: MovementKind::Reversal,
        quantity: original.quantity.checked_neg()?,
        value: original.value.checked_neg()?,
        reason: reason.to_owned(),
        actor: tx.actor.to_owned(),
        reverses_id: Some(movement_id),
        effective_on: day,
        ..original.clone()
    };
    poster.post(tx, &reversal).map(drop)
}

fn stands_on_receipt(tx: &mut Tx<'_>, lot_id: i64) -> Result<bool, Error> {
    let all = store::movements_of_lot(tx.conn, lot_id, 0, i64::MAX)?;
    let receipts: Vec<i64> = all
        .iter()
        .filter(|m| m.kind == MovementKind::Receipt.as_str())
        .map(|m| m.id)
        .collect();
    Ok(all.iter().any(|m| {
        !receipts.contains(&m.id) && !m.reverses_id.is_some_and(|id| receipts.contains(&id))
    }))
}
