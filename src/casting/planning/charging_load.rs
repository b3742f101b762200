//! Loading what grants pay for, and holding them so that two charges at once do not both count on what is left of a budget.

use std::collections::BTreeSet;

use serde::Deserialize;

use super::charging::{ChargedGrant, planned_share};
use super::load::unknown;
use super::request::Charge;
use crate::base::{Error, Micro, Money, RefusalKind, kept_read};
use crate::casting::store;
use crate::catalogue::{Entry, GrantBody, entries_hold, entries_hold_alone, grant_by_code};
use crate::db::AnyConnection;

/// The grants of charges by id, with their shares.
///
/// # Errors
/// As [`payers`].
pub(in crate::casting) fn grants(
    conn: &mut AnyConnection,
    charges: &[Charge],
) -> Result<Vec<(i64, Micro)>, Error> {
    let payers = payers(conn, charges)?;
    Ok(payers
        .iter()
        .map(|(grant, share)| (grant.id, *share))
        .collect())
}

/// The grants of charges, with their shares.
///
/// # Errors
/// [`Error::Invalid`] for a grant that does not exist, [`Error::Refused`] for a retired one.
fn payers(
    conn: &mut AnyConnection,
    charges: &[Charge],
) -> Result<Vec<(Entry<GrantBody>, Micro)>, Error> {
    let mut found = Vec::with_capacity(charges.len());
    for (index, charge) in charges.iter().enumerate() {
        let grant = grant_by_code(conn, charge.grant.as_str())
            .map_err(|error| unknown(&format!("/charges/{index}/grant"), error))?;
        if grant.retired {
            return Err(Error::refused(
                RefusalKind::Retired,
                format!("grant `{}` is retired", charge.grant.as_str()),
            ));
        }
        found.push((grant, charge.share));
    }
    Ok(found)
}

/// The grants of charges with what they pay for besides `cast`. Under a charge's locks, read after they are taken.
///
/// # Errors
/// As [`grants`].
pub(in crate::casting) fn charged_grants(
    conn: &mut AnyConnection,
    charges: &[Charge],
    cast: Option<i64>,
) -> Result<Vec<ChargedGrant>, Error> {
    let mut charged = Vec::with_capacity(charges.len());
    for (grant, share) in payers(conn, charges)? {
        let (spent, booked) = match grant.body.materials_budget {
            None => (Money::ZERO, Money::ZERO),
            Some(_) => paid_for(conn, grant.id, cast)?,
        };
        charged.push(ChargedGrant {
            id: grant.id,
            body: grant.body,
            share,
            spent,
            booked,
        });
    }
    Ok(charged)
}

/// Of a plan that is kept, what it costs.
#[derive(Deserialize)]
struct PlannedCost {
    cost: PlannedTotal,
}

#[derive(Deserialize)]
struct PlannedTotal {
    total: Money,
}

/// What a grant has paid for poured casts, and what booked ones are planned to cost it; `besides` is left out.
fn paid_for(
    conn: &mut AnyConnection,
    grant_id: i64,
    besides: Option<i64>,
) -> Result<(Money, Money), Error> {
    let mut spent = store::price_variance_of_grant(conn, grant_id)?;
    let mut booked = Money::ZERO;
    for row in store::charged_to_grant(conn, grant_id)? {
        if Some(row.cast_id) == besides {
            continue;
        }
        spent = spent.checked_add(row.cost)?;
        if let Some(plan) = row.booked_plan {
            let plan: PlannedCost = kept_read(&plan).map_err(Error::internal)?;
            booked = booked.checked_add(planned_share(plan.cost.total, row.share)?)?;
        }
    }
    Ok((spent, booked))
}

/// Holds the entries that a cast names, and alone those of its grants that refuse what is beyond their budget. The last of
/// all locks: after materials and casts.
///
/// # Errors
/// As [`grants`]; [`Error::Unavailable`] when a grant got such a budget while it was waited for.
pub(in crate::casting) fn named_hold(
    conn: &mut AnyConnection,
    named: &[i64],
    charges: &[Charge],
) -> Result<(), Error> {
    let before = payers(conn, charges)?;
    let alone = strict(&before);
    let mut shared = named.to_vec();
    shared.extend(
        before
            .iter()
            .map(|(grant, _)| grant.id)
            .filter(|id| !alone.contains(id)),
    );
    entries_hold(conn, &shared)?;
    if before.is_empty() {
        return Ok(());
    }
    let ids: Vec<i64> = alone.iter().copied().collect();
    entries_hold_alone(conn, &ids)?;
    // Read again: a grant may have got its budget before it was held.
    if strict(&payers(conn, charges)?).is_subset(&alone) {
        return Ok(());
    }
    let detail = "a charged grant was changed while it was being charged".to_owned();
    Err(Error::Unavailable { detail })
}

fn strict(payers: &[(Entry<GrantBody>, Micro)]) -> BTreeSet<i64> {
    let strict = payers.iter().map(|(grant, _)| grant);
    strict
        .filter(|grant| grant.body.strict_budget().is_some())
        .map(|grant| grant.id)
        .collect()
}
