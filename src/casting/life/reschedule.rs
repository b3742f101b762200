//! Rescheduling a booked cast: another day, other trays or grants. It is planned again and holds what the new plan picks.
//!
//! Invariant: when the new plan is short of stock and that is not allowed, the cast stays as it was. Deliberately absent:
//! another recipe (that is another cast).

use super::book::{kept, promise, short_warn, shortage};
use super::coat_needs::{coat_needs_renew, coat_reach};
use super::recharge::{change_keep, charges_now};
use super::standing::{Standing, standing_besides};
use super::view::{CastView, cast_show};
use crate::base::{Error, Micro, kept_read};
use crate::casting::planning::charging::charges_allowed;
use crate::casting::planning::charging_load::{grants, named_hold};
use crate::casting::planning::load::{materials, plan_facts, recipe};
use crate::casting::planning::plan::{Planned, plan};
use crate::casting::planning::request::PlanRequest;
use crate::casting::store::{self, CastRow, Replanned};
use crate::catalogue::RecipeFacts;
use crate::db::Tx;
use crate::http::{IfMatch, MergePatch};
use crate::stock::promises::cast_unpromise;
use crate::stock::settle::repick_after;

/// Changes what a booked cast was asked for by a merge patch, and plans it again with the catalogue as it is now.
///
/// # Errors
/// In this order: [`Error::Invalid`] for a patch that no request could bear, [`Error::NotFound`], [`Error::Invalid`] for what
/// the changed request has wrong, [`Error::PreconditionRequired`] or [`Error::VersionMismatch`], [`Error::Refused`] when
/// the cast is not booked, a grant refuses it, or stock is short.
pub fn cast_reschedule(
    tx: &mut Tx<'_>,
    code: &str,
    patch: &MergePatch<PlanRequest>,
    if_match: &IfMatch,
) -> Result<CastView, Error> {
    cast_replan(tx, code, patch, if_match, "rescheduled")
}

/// As [`cast_reschedule`]; `reason` is why other grants are charged, if they are.
pub(super) fn cast_replan(
    tx: &mut Tx<'_>,
    code: &str,
    patch: &MergePatch<PlanRequest>,
    if_match: &IfMatch,
    reason: &str,
) -> Result<CastView, Error> {
    patch.check()?;
    let (cast, request, facts) = locked(tx, code, patch)?;
    if_match.check(cast.row.version)?;
    cast.must_be("booked", "rescheduled")?;
    // Its own promises are free for the new plan; others are served with what that leaves.
    cast_unpromise(tx, cast.id)?;
    let facts = plan_facts(tx.conn, facts, &request, tx.house(), Some(cast.id))?;
    let planned = plan(&facts, &request)?;
    charges_allowed(&planned.view.charge_warnings)?;
    let short = !planned.list.unserved.is_empty();
    if short && !request.allow_short {
        return Err(shortage(&request, &planned.view));
    }
    let charges = grants(tx.conn, &request.charges)?;
    let before = charges_now(tx.conn, cast.id)?;
    write(tx, &cast, (&request, &facts.recipe), &planned, &charges)?;
    change_keep(tx, cast.id, &before, reason)?;
    let take_from = request.take_from_later.then_some(&cast.materials);
    promise(tx, cast.id, &facts.shelf, &planned, take_from)?;
    short_warn(tx, code, &request, short.then_some(&planned.view))?;
    coat_needs_renew(tx, cast.facts.mold.id, &cast.materials)?;
    if facts.recipe.mold.id != cast.facts.mold.id {
        coat_needs_renew(tx, facts.recipe.mold.id, &cast.materials)?;
    }
    repick_after(tx, &cast.materials)?;
    cast_show(tx.conn, code, tx.base_currency)
}

/// The cast, its changed request and recipe, with everything locked that planning and re-picking may touch.
fn locked(
    tx: &mut Tx<'_>,
    code: &str,
    patch: &MergePatch<PlanRequest>,
) -> Result<(Standing, PlanRequest, RecipeFacts), Error> {
    let before =
        store::cast_by_code(tx.conn, code)?.ok_or_else(|| Error::not_found("cast", code))?;
    let request = changed(&before, patch)?;
    let facts = recipe(tx.conn, &request)?;
    let own = materials(&facts);
    let reach = coat_reach(tx.conn, &[facts.mold.id], &own)?;
    let cast = standing_besides(tx, code, &reach)?;
    let named = [facts.recipe.id, facts.elastomer.id, facts.mold.id];
    named_hold(tx.conn, &named, &request.charges)?;
    // Read again: what was read before the locks may have changed.
    let request = changed(&cast.row, patch)?;
    let now = recipe(tx.conn, &request)?;
    if materials(&now) != own || now.mold.id != facts.mold.id {
        let detail =
            format!("cast {code} or its recipe was changed while it was being rescheduled");
        return Err(Error::Unavailable { detail });
    }
    Ok((cast, request, now))
}

/// What the cast was asked for, changed by the patch.
fn changed(row: &CastRow, patch: &MergePatch<PlanRequest>) -> Result<PlanRequest, Error> {
    let before: PlanRequest = kept_read(&row.request).map_err(Error::internal)?;
    let request = patch.onto(serde_json::from_str(&row.request).map_err(Error::internal)?)?;
    if request.recipe != before.recipe {
        let detail = format!(
            "a cast keeps its recipe `{}`: cancel it and book another for `{}`",
            before.recipe.as_str(),
            request.recipe.as_str()
        );
        return Err(Error::invalid("/recipe", detail));
    }
    request.check()?;
    Ok(request)
}

fn write(
    tx: &mut Tx<'_>,
    cast: &Standing,
    (request, recipe): (&PlanRequest, &RecipeFacts),
    planned: &Planned,
    charges: &[(i64, Micro)],
) -> Result<(), Error> {
    let replanned = Replanned {
        short: !planned.list.unserved.is_empty(),
        mold_id: recipe.mold.id,
        containers: i32::try_from(planned.view.containers).map_err(Error::internal)?,
        cast_on: request.cast_on,
        allow_mixed_kits: request.allow_mixed_kits,
        allow_cross_charge: request.allow_cross_charge,
        request: &kept(request)?,
        facts: &kept(recipe)?,
        plan: &kept(&planned.view)?,
    };
    store::cast_replan(tx.conn, cast.id, &replanned, charges)
}
