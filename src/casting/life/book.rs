//! Booking: a plan becomes a cast, and the stock it picked is promised to it, in one transaction.

use std::collections::BTreeMap;

use serde_json::json;

use super::coat_needs::{coat_needs_renew, coat_reach};
use super::view::{CastView, cast_show};
use crate::base::{Error, Quantity, RefusalKind};
use crate::casting::planning::charging::charges_allowed;
use crate::casting::planning::charging_load::{grants, named_hold};
use crate::casting::planning::load::{materials, plan_facts, recipe};
use crate::casting::planning::plan::{Planned, plan};
use crate::casting::planning::plan_view::CastPlan;
use crate::casting::planning::request::PlanRequest;
use crate::casting::planning::what_if::{PlanAnswer, what_if};
use crate::casting::store::{self, NewCast};
use crate::catalogue::RecipeFacts;
use crate::db::{AnyConnection, House, Tx};
use crate::stock::promises::cast_promise;
use crate::stock::repicking::Promise;
use crate::stock::settle::{lock_reach, release_before, repick_after};
use crate::stock::shelf::PackFacts;
use crate::stock::warnings::{Alarm, Subject, warning_clear, warning_raise};

/// What came of a booking.
pub enum Booking {
    /// The cast.
    Booked(Box<CastView>),
    /// A shortage: noted as demand, so its transaction is kept although the answer is a refusal.
    Refused(Error),
}

/// Plans without writing; with the lines of other divisions into cups if asked for.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Refused`] for what the request asks or names.
pub fn cast_plan(
    conn: &mut AnyConnection,
    request: &PlanRequest,
    house: House,
    other_cups: bool,
) -> Result<PlanAnswer, Error> {
    request.check()?;
    let recipe = recipe(conn, request)?;
    let facts = plan_facts(conn, recipe, request, house, None)?;
    let plan = plan(&facts, request)?.view;
    let what_if = other_cups.then(|| what_if(&facts, request, &plan));
    Ok(PlanAnswer {
        what_if: what_if.transpose()?,
        plan,
    })
}

/// Books a cast.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Refused`] for what the request asks or names, or when a grant refuses it. A shortage is not an error here: see
/// [`Booking::Refused`].
pub fn cast_book(tx: &mut Tx<'_>, request: &PlanRequest) -> Result<Booking, Error> {
    request.check()?;
    let (recipe, materials) = locked_recipe(tx, request)?;
    let facts = plan_facts(tx.conn, recipe, request, tx.house(), None)?;
    let planned = plan(&facts, request)?;
    charges_allowed(&planned.view.charge_warnings)?;
    let short = !planned.list.unserved.is_empty();
    if short && !request.allow_short {
        return refuse(tx, &facts.recipe, request, &planned).map(Booking::Refused);
    }
    let charges = grants(tx.conn, &request.charges)?;
    let id = store::cast_next_id(tx.conn)?;
    let code = format!("C-{id:05}");
    insert(
        tx,
        (id, &code),
        request,
        &facts.recipe,
        &planned.view,
        short,
    )?;
    store::charges_insert(tx.conn, id, &charges)?;
    promise(
        tx,
        id,
        &facts.shelf,
        &planned,
        request.take_from_later.then_some(&materials),
    )?;
    short_warn(tx, &code, request, short.then_some(&planned.view))?;
    // Casts of later days now find other coats than they counted on.
    if !coat_needs_renew(tx, facts.recipe.mold.id, &materials)?.is_empty() {
        repick_after(tx, &materials)?;
    }
    cast_show(tx.conn, &code, tx.base_currency).map(|view| Booking::Booked(Box::new(view)))
}

/// The recipe with its materials locked, so that neither stock nor catalogue changes under the decision.
fn locked_recipe(tx: &mut Tx<'_>, request: &PlanRequest) -> Result<(RecipeFacts, Vec<i64>), Error> {
    let before = recipe(tx.conn, request)?;
    let own = materials(&before);
    // Casts of the mould that are booked for later days find other coats once this one is booked.
    let locked = coat_reach(tx.conn, &[before.mold.id], &own)?;
    lock_reach(tx, &locked)?;
    let named = [before.recipe.id, before.elastomer.id, before.mold.id];
    named_hold(tx.conn, &named, &request.charges)?;
    // Read again: what was read before the locks may have changed.
    let facts = recipe(tx.conn, request)?;
    if materials(&facts) != own || facts.mold.id != before.mold.id {
        let detail = format!(
            "recipe `{}` was changed while it was being booked",
            request.recipe.as_str()
        );
        return Err(Error::Unavailable { detail });
    }
    Ok((facts, locked))
}

fn insert(
    tx: &mut Tx<'_>,
    (id, code): (i64, &str),
    request: &PlanRequest,
    facts: &RecipeFacts,
    plan: &CastPlan,
    short: bool,
) -> Result<(), Error> {
    let cast = NewCast {
        id,
        code,
        state: "booked",
        short,
        recipe_id: facts.recipe.id,
        mold_id: facts.mold.id,
        containers: i32::try_from(plan.containers).map_err(Error::internal)?,
        cast_on: request.cast_on,
        allow_mixed_kits: request.allow_mixed_kits,
        allow_cross_charge: request.allow_cross_charge,
        request: &kept(request)?,
        facts: &kept(facts)?,
        plan: &kept(plan)?,
        booked_at: tx.stored_now(),
        booked_by: tx.actor,
    };
    store::cast_insert(tx.conn, &cast)
}

/// A document as it is kept on the cast.
pub(in crate::casting) fn kept(document: &impl serde::Serialize) -> Result<String, Error> {
    serde_json::to_string(document).map_err(Error::internal)
}

/// Promises what was picked. With `take_from` (the materials), promises to later casts make room first.
pub(super) fn promise(
    tx: &mut Tx<'_>,
    cast_id: i64,
    shelf: &[PackFacts],
    planned: &Planned,
    take_from: Option<&Vec<i64>>,
) -> Result<(), Error> {
    let promises: Vec<Promise> = planned
        .list
        .picks
        .iter()
        .map(|picked| {
            let need = &planned.sizing.needs[picked.need];
            Promise {
                cast_id,
                pack_id: shelf[picked.pack].pack_id,
                purpose: need.purpose,
                batch_no: need.batch_no,
                quantity: picked.quantity,
            }
        })
        .collect();
    let Some(materials) = take_from else {
        return cast_promise(tx, cast_id, &planned.sizing.needs, &promises);
    };
    release_before(tx, materials, |shelf| {
        for promise in &promises {
            if let Some(pack) = shelf
                .iter_mut()
                .find(|pack| pack.pack_id == promise.pack_id)
            {
                pack.reserved = Quantity::from_micro(
                    pack.reserved
                        .micro()
                        .saturating_add(promise.quantity.micro()),
                );
            }
        }
    })?;
    cast_promise(tx, cast_id, &planned.sizing.needs, &promises)?;
    repick_after(tx, materials)
}

/// Warns that a cast was booked short, if `plan` is given, or clears that warning.
pub(super) fn short_warn(
    tx: &mut Tx<'_>,
    code: &str,
    request: &PlanRequest,
    plan: Option<&CastPlan>,
) -> Result<(), Error> {
    let subject = Subject {
        kind: "cast_short",
        noun: "cast",
        code,
    };
    let Some(plan) = plan else {
        return warning_clear(tx, &subject);
    };
    let alarm = Alarm {
        severity: 3,
        due_on: Some(request.cast_on),
        reason: format!(
            "Cast {code} on {} was booked short: {}.",
            request.cast_on,
            shortage_words(plan)
        ),
    };
    warning_raise(tx, &subject, &alarm)
}

fn shortage_words(plan: &CastPlan) -> String {
    let words: Vec<String> = plan
        .shortages
        .iter()
        .map(|short| {
            format!(
                "{} of {} needed, {} available",
                short.material, short.needed, short.available
            )
        })
        .collect();
    words.join("; ")
}

/// Why there is not enough: what is short and what would help.
pub(super) fn shortage(request: &PlanRequest, plan: &CastPlan) -> Error {
    let detail = format!(
        "not enough for {} trays on {}: {}; {} trays could be booked",
        plan.containers,
        request.cast_on,
        shortage_words(plan),
        plan.largest_bookable
    );
    Error::refused(RefusalKind::Shortage, detail)
        .with("shortages", json!(plan.shortages))
        .with("largest_bookable", json!(plan.largest_bookable))
}

/// Notes the refused booking, which is demand for all that the cast needs, and says what is short.
fn refuse(
    tx: &mut Tx<'_>,
    facts: &RecipeFacts,
    request: &PlanRequest,
    planned: &Planned,
) -> Result<Error, Error> {
    let refusal = shortage(request, &planned.view);
    let mut needed: BTreeMap<i64, i64> = BTreeMap::new();
    for need in &planned.sizing.needs {
        let sum = needed.entry(need.material_id).or_default();
        *sum = sum.saturating_add(need.quantity.micro());
    }
    let demand: Vec<(i64, Quantity)> = needed
        .into_iter()
        .map(|(material, micro)| (material, Quantity::from_micro(micro)))
        .collect();
    let now = tx.stored_now();
    store::refused_booking_insert(
        tx.conn,
        (facts.recipe.id, request.cast_on),
        (tx.actor, now),
        &refusal.to_string(),
        &demand,
    )?;
    Ok(refusal)
}
