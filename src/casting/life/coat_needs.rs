//! What booked casts need of the release agent, kept in step with the coats of their mould.
//!
//! A booking counts on the coats as they will stand when its turn comes. Whatever changes that (a pour, a treatment, a look
//! that found a coat gone, a cancelled or undone cast, a booking for an earlier day) changes the vials that the mould's
//! booked casts need. Deliberately absent: the promises of those vials (re-picking, which the caller runs afterwards).

use std::collections::BTreeSet;

use crate::base::{Error, Quantity};
use crate::casting::planning::coating::{vials_need, vials_quantity};
use crate::casting::planning::coats_ahead::{Turn, all_turns};
use crate::casting::store;
use crate::db::{AnyConnection, Tx};
use crate::stock::needs::{Need, Purpose};
use crate::stock::promises::{cast_need_replace, needs_of_casts};

/// Brings the vials needed by a mould's booked casts up to date. `locked` are the materials that the operation has locked:
/// a cast whose agent is not among them is left as it is. Returns the casts whose need changed, by code.
pub(super) fn coat_needs_renew(
    tx: &mut Tx<'_>,
    mold_id: i64,
    locked: &[i64],
) -> Result<Vec<String>, Error> {
    let turns = all_turns(tx.conn, mold_id)?;
    let ids: Vec<i64> = turns.iter().map(|turn| turn.cast_id).collect();
    let needs = needs_of_casts(tx.conn, &ids)?;
    let mut changed = Vec::new();
    for turn in &turns {
        let kept = needs.get(&turn.cast_id).map_or(&[][..], Vec::as_slice);
        if renew(tx, turn, kept, locked)? {
            changed.push(turn.code.clone());
        }
    }
    Ok(changed)
}

/// The materials that renewing the needs of the moulds' booked casts may touch, with `own`: all that those casts need, since
/// a cast that lacked nothing but a vial is short no more when it needs none.
pub(super) fn coat_reach(
    conn: &mut AnyConnection,
    mold_ids: &[i64],
    own: &[i64],
) -> Result<Vec<i64>, Error> {
    let mut reach: BTreeSet<i64> = own.iter().copied().collect();
    for mold_id in mold_ids {
        let casts = store::booked_ids_on_mold(conn, *mold_id)?;
        let needs = needs_of_casts(conn, &casts)?;
        reach.extend(needs.values().flatten().map(|need| need.material_id));
    }
    Ok(reach.into_iter().collect())
}

/// The materials that a change of a treatment's coats may touch.
pub(super) fn treatment_reach(
    conn: &mut AnyConnection,
    treatment_id: i64,
    agent_id: i64,
) -> Result<Vec<i64>, Error> {
    let coats = store::coats_of_treatments(conn, &[treatment_id])?;
    let molds: BTreeSet<i64> = coats.iter().map(|(coat, _)| coat.mold_id).collect();
    let molds: Vec<i64> = molds.into_iter().collect();
    coat_reach(conn, &molds, &[agent_id])
}

/// Sets what a cast needs of its release agent, if it differs.
fn renew(tx: &mut Tx<'_>, turn: &Turn, kept: &[Need], locked: &[i64]) -> Result<bool, Error> {
    let facts = &turn.facts;
    let agent = facts.release_agent.as_ref();
    if !agent.is_some_and(|agent| locked.contains(&agent.id)) {
        return Ok(false);
    }
    let wanted = vials_quantity(facts, turn.vials())?;
    let kept = kept
        .iter()
        .filter(|need| need.purpose == Purpose::Release)
        .map(|need| need.quantity);
    if Quantity::checked_sum(kept)? == wanted {
        return Ok(false);
    }
    let needs: Vec<Need> = vials_need(facts, turn.vials())?.into_iter().collect();
    cast_need_replace(tx, turn.cast_id, Purpose::Release, &needs)?;
    Ok(true)
}
