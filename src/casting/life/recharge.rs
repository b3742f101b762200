//! Changing who is charged for a cast, before or after its pour.
//!
//! Invariants: what a cast cost stays the same by component, only its parts move; every change says who made it, when and
//! why, and what was before. A booked cast is planned again, since other grants may use other stock. Deliberately absent:
//! prices that were corrected since the pour (they stay where they were posted).

use serde_json::{Map, Value, json};

use super::charges_input::{ChargeChange, ChargesIn};
use super::reschedule::cast_replan;
use super::standing::{Standing, standing};
use super::view::{CastView, cast_show, components};
use crate::base::{Error, RefusalKind, kept_read};
use crate::casting::planning::charging::{borne_by, charge_warnings, charges_allowed, cost_shares};
use crate::casting::planning::charging_load::{charged_grants, grants, named_hold};
use crate::casting::planning::request::Charge;
use crate::casting::store::{self, ChargeChangeRow, NewChargeChange, Recharged};
use crate::catalogue::codes_by_ids;
use crate::db::{AnyConnection, Tx, instant};
use crate::http::{IfMatch, MergePatch};
use crate::stock::load::day_open;

/// Changes who is charged for a cast that is booked, poured or demoulded.
///
/// # Errors
/// In this order: [`Error::Invalid`] for what the request has wrong, [`Error::NotFound`], [`Error::Invalid`] for a grant
/// that does not exist, [`Error::PreconditionRequired`] or [`Error::VersionMismatch`], [`Error::Refused`] when the cast is
/// cancelled, its days are in a closed period, a grant refuses it, or stock that another grant paid for is charged
/// without leave.
pub fn cast_recharge(
    tx: &mut Tx<'_>,
    code: &str,
    input: &ChargesIn,
    if_match: &IfMatch,
) -> Result<CastView, Error> {
    let reason = input.check()?;
    let row = store::cast_by_code(tx.conn, code)?.ok_or_else(|| Error::not_found("cast", code))?;
    if row.state == "booked" {
        let mut members = Map::new();
        members.insert("charges".to_owned(), json!(input.charges));
        if input.allow_cross_charge {
            members.insert("allow_cross_charge".to_owned(), Value::Bool(true));
        }
        return cast_replan(tx, code, &MergePatch::new(members), if_match, &reason);
    }
    let cast = standing(tx, code)?;
    named_hold(tx.conn, &[], &input.charges)?;
    if_match.check(cast.row.version)?;
    if !matches!(cast.state.as_str(), "poured" | "demolded") {
        let detail = format!(
            "cast {code} is {}: only what is booked, poured or demolded can be charged otherwise",
            cast.state
        );
        return Err(Error::refused(RefusalKind::WrongState, detail).with("state", cast.state));
    }
    for day in [cast.row.poured_on, cast.row.demolded_on]
        .into_iter()
        .flatten()
    {
        day_open(tx, "", day)?;
    }
    recharge(tx, cast, input, &reason)?;
    cast_show(tx.conn, code, tx.base_currency)
}

/// Splits what a poured cast cost again, by the new shares.
fn recharge(
    tx: &mut Tx<'_>,
    mut cast: Standing,
    input: &ChargesIn,
    reason: &str,
) -> Result<(), Error> {
    let mut charges = grants(tx.conn, &input.charges)?;
    // In the order in which a pour splits them.
    charges.sort_unstable_by_key(|(grant_id, _)| *grant_id);
    cast.request.allow_cross_charge |= input.allow_cross_charge;
    if !cast.request.allow_cross_charge {
        own_stock(
            tx.conn,
            cast.id,
            &charges.iter().map(|(id, _)| *id).collect::<Vec<_>>(),
        )?;
    }
    let costs = store::cast_costs_fetch(tx.conn, &[cast.id])?.remove(&cast.id);
    let parts = cost_shares(&components(costs.unwrap_or_default())?, &charges)?;
    let charged = charged_grants(tx.conn, &input.charges, Some(cast.id))?;
    let mut shares = Vec::with_capacity(charged.len());
    for grant in &charged {
        shares.push((grant, borne_by(grant.id, &parts)?));
    }
    let day = cast.row.poured_on.unwrap_or(cast.row.cast_on);
    cast.plan.charge_warnings = charge_warnings(day, &shares)?;
    charges_allowed(&cast.plan.charge_warnings)?;
    let before = charges_now(tx.conn, cast.id)?;
    cast.request.charges.clone_from(&input.charges);
    let recharged = Recharged {
        allow_cross_charge: cast.request.allow_cross_charge,
        request: &super::book::kept(&cast.request)?,
        plan: &super::book::kept(&cast.plan)?,
    };
    store::cast_recharge(tx.conn, cast.id, &recharged, &charges)?;
    store::cast_costs_delete(tx.conn, cast.id)?;
    store::cast_costs_insert(tx.conn, cast.id, &parts)?;
    change_keep(tx, cast.id, &before, reason)
}

/// Refuses when the cast used stock that a grant paid for which is not charged.
fn own_stock(conn: &mut AnyConnection, cast_id: i64, charged: &[i64]) -> Result<(), Error> {
    let foreign: Vec<(String, i64)> = store::funded_lots_of_cast(conn, cast_id)?
        .into_iter()
        .filter(|(_, grant)| !charged.contains(grant))
        .collect();
    if foreign.is_empty() {
        return Ok(());
    }
    let ids: Vec<i64> = foreign.iter().map(|(_, grant)| *grant).collect();
    let codes = codes_by_ids(conn, &ids)?;
    let lots: Vec<Value> = foreign
        .iter()
        .map(
            |(lot, grant)| json!({"lot": lot, "funded_by": codes.get(grant).map(|(code, _)| code)}),
        )
        .collect();
    let words: Vec<String> = foreign
        .iter()
        .map(|(lot, grant)| {
            let code = codes.get(grant).map(|(code, _)| code.to_string());
            format!(
                "lot `{lot}`, which grant `{}` paid for",
                code.unwrap_or_default()
            )
        })
        .collect();
    let detail = format!(
        "the cast used {}: to charge it to others all the same, send `allow_cross_charge: true`",
        words.join("; ")
    );
    Err(Error::refused(RefusalKind::AllowanceMissing, detail).with("lots", lots))
}

/// Who is charged for a cast, as it stands.
pub(super) fn charges_now(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<Charge>, Error> {
    let charges = store::charges_fetch(conn, cast_id)?.into_iter();
    Ok(charges
        .map(|(_, grant, share)| Charge { grant, share })
        .collect())
}

/// Keeps that the charges were changed, when they were.
pub(super) fn change_keep(
    tx: &mut Tx<'_>,
    cast_id: i64,
    before: &[Charge],
    reason: &str,
) -> Result<(), Error> {
    let after = charges_now(tx.conn, cast_id)?;
    if after == before {
        return Ok(());
    }
    let change = NewChargeChange {
        cast_id,
        before_json: &super::book::kept(&before)?,
        after_json: &super::book::kept(&after)?,
        reason,
        actor: tx.actor,
        recorded_at: tx.stored_now(),
    };
    store::charge_change_insert(tx.conn, &change)
}

/// A change of charges, as it is shown.
pub(super) fn change_shown(row: ChargeChangeRow) -> Result<ChargeChange, Error> {
    let charges = |text: &str| kept_read(text).map_err(Error::internal);
    Ok(ChargeChange {
        recorded_at: instant(row.recorded_at),
        actor: row.actor,
        reason: row.reason,
        before: charges(&row.before_json)?,
        after: charges(&row.after_json)?,
    })
}
