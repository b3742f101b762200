//! Coats in the books: what a pour draws on them and renews, what a treatment makes, and what an undo takes back.
//!
//! Invariants: a copy has at most one present coat; what the vials of a treatment were worth is exactly what its coats were
//! filled with; a coat that is replaced sends its rest to waste. Deliberately absent: which copies are due (`planning`).

use chrono::NaiveDate;

use super::pool_ops::{Move, pool_move, pool_move_reverse, pool_waste};
use super::standing::Standing;
use super::takes::Take;
use crate::base::{Error, Money, Quantity, RefusalKind};
use crate::casting::planning::coating::{coats_pass, vial};
use crate::casting::planning::coats_ahead::coats_now;
use crate::casting::store::{self, CoatRow, MovedBy, NewCoat, NewTreatment, TreatmentRow};
use crate::casting::sums::coats::{CoatStep, drawn};
use crate::casting::sums::pool::PoolState;
use crate::casting::sums::release::ReleaseNeed;
use crate::db::Tx;
use crate::stock::ledger::MovementKind;
use crate::stock::needs::Purpose;
use crate::stock::post::{Occasion, Poster};
use crate::stock::promises::{movements_reverse, pack_begin};

/// The coats of one pour.
pub(super) struct Coating<'a> {
    pub(super) cast: &'a Standing,
    pub(super) containers: u32,
    /// The coatings that were due; none when none were made.
    pub(super) need: Option<&'a ReleaseNeed>,
    /// The vials that were used for them.
    pub(super) vials: &'a [Take],
    pub(super) on: NaiveDate,
}

/// Coats the copies that were due and draws the cast's share of every coat it was cast on. Returns that share.
pub(super) fn coat_cast(
    tx: &mut Tx<'_>,
    poster: &mut Poster,
    coating: &Coating<'_>,
) -> Result<Money, Error> {
    let cast = coating.cast;
    let mold = &cast.facts.mold;
    let treatments = treatments_of_loads(tx, poster, coating)?;
    let values: Vec<Money> = treatments.iter().map(|(_, value)| *value).collect();
    let mut coats = coats_now(tx.conn, mold.id, mold.body.copies())?;
    let steps = coats_pass(
        &cast.facts,
        &mut coats,
        coating.containers,
        coating.need,
        Money::checked_sum(values)?,
    )?;
    let mut present = store::coats_present(tx.conn, mold.id)?;
    for step in &steps {
        match *step {
            CoatStep::Draw { copy, uses, value } => {
                let moved = Move {
                    pool_id: of_copy(&present, copy)?.id,
                    kind: "issue",
                    value: value.checked_neg()?,
                    uses: -uses,
                    cast_id: Some(cast.id),
                    reason: "",
                    on: coating.on,
                };
                pool_move(tx, &moved)?;
            }
            CoatStep::Coat {
                copy,
                load,
                value,
                uses,
                ..
            } => {
                let (treatment_id, _) = treatments[load];
                let filled = PoolState { value, uses };
                let place = (mold.id, copy, treatment_id);
                let made = coat_make(tx, place, filled, coating.on)?;
                present.retain(|coat| coat.copy_no != made.copy_no);
                present.push(made);
            }
        }
    }
    drawn(&steps)
}

fn of_copy(present: &[CoatRow], copy: u32) -> Result<&CoatRow, Error> {
    present
        .iter()
        .find(|coat| coat.copy_no.and_then(|no| u32::try_from(no).ok()) == Some(copy))
        .ok_or_else(|| Error::internal("a coat that gives is not in the books"))
}

/// The treatments of a pour, one for each load, with what their vials were worth.
fn treatments_of_loads(
    tx: &mut Tx<'_>,
    poster: &mut Poster,
    coating: &Coating<'_>,
) -> Result<Vec<(i64, Money)>, Error> {
    let (Some(need), Some(agent)) = (coating.need, &coating.cast.facts.release_agent) else {
        return Ok(Vec::new());
    };
    let one = vial(&coating.cast.facts);
    let mut left: Vec<Take> = coating.vials.to_vec();
    let mut treatments = Vec::new();
    for load in &need.loads {
        let wanted = one.mul_div_half_even(i64::from(load.vials), 1)?;
        let takes = split_off(&mut left, wanted);
        let vials = Vials {
            takes: &takes,
            count: load.vials,
            agent_id: agent.id,
        };
        let made_for = MadeFor {
            cast_id: Some(coating.cast.id),
            at_pour: true,
            note: "",
            day_given: "/poured_on",
        };
        treatments.push(vials_spend(tx, poster, &vials, &made_for, coating.on)?);
    }
    Ok(treatments)
}

/// Takes `wanted` off the front of what is left.
fn split_off(left: &mut Vec<Take>, wanted: Quantity) -> Vec<Take> {
    let mut missing = wanted.micro();
    let mut taken = Vec::new();
    for take in left.iter_mut() {
        let part = take.quantity.micro().min(missing);
        if part > 0 {
            taken.push(Take {
                quantity: Quantity::from_micro(part),
                ..*take
            });
            take.quantity = Quantity::from_micro(take.quantity.micro() - part);
            missing -= part;
        }
    }
    left.retain(|take| take.quantity > Quantity::ZERO);
    taken
}

/// The vials of one treatment.
pub(super) struct Vials<'a> {
    pub(super) takes: &'a [Take],
    pub(super) count: u32,
    pub(super) agent_id: i64,
}

/// What a treatment is made for.
pub(super) struct MadeFor<'a> {
    pub(super) cast_id: Option<i64>,
    pub(super) at_pour: bool,
    pub(super) note: &'a str,
    /// Where the day was given, as a JSON pointer.
    pub(super) day_given: &'static str,
}

/// Takes the vials of a treatment from the stock and keeps the treatment. Returns it with what its vials were worth.
///
/// The movements carry no cast: what a cast pays for its coats is what it draws on them.
pub(super) fn vials_spend(
    tx: &mut Tx<'_>,
    poster: &mut Poster,
    vials: &Vials<'_>,
    made_for: &MadeFor<'_>,
    on: NaiveDate,
) -> Result<(i64, Money), Error> {
    let (mut value, mut movements) = (Money::ZERO, Vec::new());
    for take in vials.takes {
        pack_begin(tx, take.pack_id, on, made_for.day_given)?;
        let occasion = Occasion {
            effective_on: on,
            reason: "release coat".to_owned(),
            purpose: Some(Purpose::Release.as_str()),
            ..Occasion::default()
        };
        let posted = poster.issue(
            tx,
            (take.lot_id, take.pack_id),
            MovementKind::Consumption,
            take.quantity,
            &occasion,
        )?;
        value = value.checked_sub(posted.value)?;
        movements.push(posted.id);
    }
    let row = NewTreatment {
        treated_on: on,
        release_agent_id: vials.agent_id,
        vials: i32::try_from(vials.count).map_err(Error::internal)?,
        cast_id: made_for.cast_id,
        at_pour: made_for.at_pour,
        note: made_for.note,
        actor: tx.actor,
        recorded_at: tx.stored_now(),
    };
    Ok((store::treatment_insert(tx.conn, &row, &movements)?, value))
}

/// Opens the coat of a copy: mould, copy, treatment. The coat it had goes to waste.
pub(super) fn coat_make(
    tx: &mut Tx<'_>,
    (mold_id, copy, treatment_id): (i64, u32, i64),
    filled: PoolState,
    on: NaiveDate,
) -> Result<CoatRow, Error> {
    let copy_no = i32::try_from(copy).map_err(Error::internal)?;
    let present = store::coats_present(tx.conn, mold_id)?;
    let before = present.iter().find(|coat| coat.copy_no == Some(copy_no));
    if let Some(before) = before {
        coat_end(tx, before, "coated again", on)?;
    }
    let new = NewCoat {
        kind: "coat",
        mold_id,
        copy_no: Some(copy_no),
        treatment_id: Some(treatment_id),
        replaces_id: before.map(|coat| coat.id),
        opened_on: on,
    };
    let id = store::coat_open(tx.conn, &new)?;
    let moved = Move {
        pool_id: id,
        kind: "fill",
        value: filled.value,
        uses: filled.uses,
        cast_id: None,
        reason: "release coat",
        on,
    };
    pool_move(tx, &moved)?;
    store::coat_fetch(tx.conn, id)
}

/// Ends a coat: what it has left is wasted, and the copy is bare until it is coated again.
pub(super) fn coat_end(
    tx: &mut Tx<'_>,
    coat: &CoatRow,
    reason: &str,
    on: NaiveDate,
) -> Result<(), Error> {
    let rest = PoolState {
        value: coat.value,
        uses: coat.uses,
    };
    pool_waste(tx, coat.id, rest, reason, on)?;
    store::coat_close(tx.conn, coat.id, Some(on))
}

/// Takes a treatment back: its vials return to the stock, and each copy has the coat again that it had before.
///
/// # Errors
/// [`Error::Refused`] when a cast has used one of its coats, or one was replaced or ended since.
pub(super) fn treatment_take_back(
    tx: &mut Tx<'_>,
    treatment: &TreatmentRow,
    reason: &str,
    on: NaiveDate,
) -> Result<(), Error> {
    for (coat, mold) in store::coats_of_treatments(tx.conn, &[treatment.id])? {
        let standing = store::pool_movements_standing(tx.conn, MovedBy::Pool(coat.id))?;
        let fill = untouched(&coat, &standing).ok_or_else(|| {
            let detail = format!(
                "the coat that treatment {} gave copy {} of mould {mold} has been used, replaced or ended since: undo that first",
                treatment.id,
                coat.copy_no.unwrap_or(1)
            );
            Error::refused(RefusalKind::HistoryConflict, detail)
        })?;
        pool_move_reverse(tx, fill, reason, on)?;
        store::coat_close(tx.conn, coat.id, Some(on))?;
        if let Some(before) = coat.replaces_id {
            coat_revive(tx, before, reason, on)?;
        }
    }
    let vials = store::vials_of_treatments(tx.conn, &[treatment.id])?;
    let movements: Vec<i64> = vials.iter().rev().map(|vial| vial.movement_id).collect();
    movements_reverse(tx, &movements, reason)?;
    let now = tx.stored_now();
    store::treatment_undone(tx.conn, treatment.id, (tx.actor, now))
}

/// The fill of a coat on which nothing else stands.
fn untouched<'a>(
    coat: &CoatRow,
    standing: &'a [store::StandingRow],
) -> Option<&'a store::StandingRow> {
    match standing {
        [fill] if fill.kind == "fill" && coat.closed_on.is_none() => Some(fill),
        _ => None,
    }
}

/// Opens a coat again that was ended when its copy was coated anew, with what was wasted then.
fn coat_revive(tx: &mut Tx<'_>, id: i64, reason: &str, on: NaiveDate) -> Result<(), Error> {
    let standing = store::pool_movements_standing(tx.conn, MovedBy::Pool(id))?;
    if let Some(waste) = standing.first().filter(|row| row.kind == "waste") {
        pool_move_reverse(tx, waste, reason, on)?;
    }
    store::coat_close(tx.conn, id, None)
}

/// Takes back what the pour of a cast did to coats and mould: what it drew, and the coats it made.
///
/// # Errors
/// [`Error::Refused`] when other casts have used a coat that was made for this one.
pub(super) fn pour_coats_undo(
    tx: &mut Tx<'_>,
    cast: &Standing,
    reason: &str,
    on: NaiveDate,
) -> Result<(), Error> {
    let mut drawn_on = super::pool_ops::cast_draws_reverse(tx, cast, on)?;
    for treatment in store::treatments_at_pour(tx.conn, cast.id)? {
        treatment_take_back(tx, &treatment, reason, on)?;
    }
    // A coat that was replaced or ended since the pour cannot serve again: what it gets back is wasted.
    drawn_on.sort_unstable();
    drawn_on.dedup();
    for pool_id in drawn_on {
        let coat = store::coat_fetch(tx.conn, pool_id)?;
        if coat.closed_on.is_some() {
            let rest = PoolState {
                value: coat.value,
                uses: coat.uses,
            };
            pool_waste(tx, pool_id, rest, "the coat is gone", on)?;
        }
    }
    Ok(())
}
