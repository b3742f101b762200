//! What booked casts need of the release agent, kept in step with the coats of their mould.
//!
//! A booking counts on the coats as they will stand when its turn comes. Whatever changes that (a pour, a treatment, a look
//! that found a coat gone, a cancelled or undone cast, a booking for an earlier day) changes the vials that the mould's
//! booked casts need. Deliberately absent: the promises of those vials (re-picking, which the caller runs afterwards).

use crate::base::Money;
use std::collections::BTreeSet;

use crate::base::{Error, Quantity};
use crate::casting::planning::coating::{coat_need, coats_pass, vial, vials_quantity};
use crate::casting::planning::coats_ahead::{booked, coats_now};
use crate::casting::store;
use crate::catalogue::{RecipeFacts, mold_by_id};
use crate::db::{AnyConnection, Tx};
use crate::stock::needs::{Need, Purpose};
use crate::stock::promises::{cast_need_replace, cast_needs};

/// Brings the vials needed by a mould's booked casts up to date. `locked` are the materials that the operation has locked:
/// a cast whose agent is not among them is left as it is. Returns the casts whose need changed, by code.
pub(super) fn coat_needs_renew(
    tx: &mut Tx<'_>,
    mold_id: i64,
    locked: &[i64],
) -> Result<Vec<String>, Error> {
    let booked_casts = store::booked_on_mold(tx.conn, mold_id)?;
    if booked_casts.is_empty() {
        return Ok(Vec::new());
    }
    let copies = mold_by_id(tx.conn, mold_id)?.body.copies();
    let mut coats = coats_now(tx.conn, mold_id, copies)?;
    let mut changed = Vec::new();
    for cast in &booked_casts {
        let (facts, containers) = booked(cast)?;
        let need = coat_need(&facts, &coats, containers)?;
        let vials = need.as_ref().map_or(0, |need| need.vials);
        coats_pass(&facts, &mut coats, containers, need.as_ref(), Money::ZERO)?;
        if renew(tx, cast.id, &facts, vials, locked)? {
            changed.push(cast.code.clone());
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
        for cast in store::booked_on_mold(conn, *mold_id)? {
            let needs = cast_needs(conn, cast.id)?;
            reach.extend(needs.into_iter().map(|need| need.material_id));
        }
    }
    Ok(reach.into_iter().collect())
}

/// Sets what a cast needs of its release agent, if it differs.
fn renew(
    tx: &mut Tx<'_>,
    cast_id: i64,
    facts: &RecipeFacts,
    vials: u32,
    locked: &[i64],
) -> Result<bool, Error> {
    let Some(agent) = facts
        .release_agent
        .as_ref()
        .filter(|agent| locked.contains(&agent.id))
    else {
        return Ok(false);
    };
    let wanted = vials_quantity(facts, vials)?;
    let kept = cast_needs(tx.conn, cast_id)?
        .into_iter()
        .filter(|need| need.purpose == Purpose::Release);
    let has = Quantity::checked_sum(kept.map(|need| need.quantity))?;
    if has == wanted {
        return Ok(false);
    }
    let need = Need {
        material_id: agent.id,
        purpose: Purpose::Release,
        batch_no: 0,
        quantity: wanted,
        piece: vial(facts),
    };
    let needs = if vials > 0 { vec![need] } else { Vec::new() };
    cast_need_replace(tx, cast_id, Purpose::Release, &needs)?;
    Ok(true)
}
