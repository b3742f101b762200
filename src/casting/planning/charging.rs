//! Charging: whether the grants of a cast pay for it, on its day and out of what is left of their budgets; and how a cost is
//! split over them.
//!
//! Invariants: the parts of a component add up to it, to the millionth; a budget that is exactly reached is kept.
//! Deliberately absent: what was spent (the store reads it), and any booking.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::ToSchema;

use crate::base::{Code, Error, Micro, Money, RefusalKind, apportion};
use crate::casting::cost::{Component, Components};
use crate::catalogue::{Beyond, GrantBody};

/// 100 per cent, in millionths of a per cent.
const WHOLE: i64 = 100_000_000;

/// A grant that a cast is charged to, with what it pays for besides.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChargedGrant {
    /// The grant's id.
    pub id: i64,
    /// The grant as the catalogue has it.
    pub body: GrantBody,
    /// Its share of the cast, in per cent.
    pub share: Micro,
    /// What other casts that were poured have cost it, with what their prices turned out to be since.
    pub spent: Money,
    /// What other casts that are booked are planned to cost it.
    pub booked: Money,
}

/// How a grant does not pay for a cast.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChargeWarningKind {
    /// The cast's day is before the grant starts.
    BeforeStart,
    /// The cast's day is after the grant ends.
    AfterEnd,
    /// The cast would cost more than is left of the grant's budget.
    OverBudget,
}

/// That a grant does not pay for a cast: because of the day, or because of its budget.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ChargeWarning {
    /// The grant's code.
    pub grant: Code,
    /// How it does not pay.
    pub kind: ChargeWarningKind,
    /// What the grant says to that: `warn` or `refuse`.
    pub beyond: Beyond,
    /// One plain sentence.
    pub detail: String,
    /// The day of the cast; of a day outside the grant's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub day: Option<NaiveDate>,
    /// The first or the last day on which the grant pays; of a day outside the grant's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit_on: Option<NaiveDate>,
    /// The budget, in the base currency; of a cast beyond it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<Money>,
    /// What other poured casts have cost the grant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spent: Option<Money>,
    /// What other booked casts are planned to cost it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub booked: Option<Money>,
    /// What this cast costs it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub this_cast: Option<Money>,
}

/// What a share of a planned cost comes to: `share` in per cent of `total`, rounded to the millionth, half to even.
///
/// # Errors
/// [`Error::Invalid`] when it leaves the range of money.
///
/// ```
/// use heeltap::base::{Micro, Money};
/// use heeltap::casting::planning::charging::planned_share;
/// let third = planned_share(Money::from_int(10), Micro::parse("33.333333")?)?;
/// assert_eq!(third.to_string(), "3.333333");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn planned_share(total: Money, share: Micro) -> Result<Money, Error> {
    Ok(total.mul_div_half_even(share.micro(), WHOLE)?)
}

/// The charged grants, each with its share of a planned cost.
///
/// # Errors
/// As [`planned_share`].
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::planning::charging::planned_shares;
/// assert!(planned_shares(Money::from_int(10), &[])?.is_empty());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn planned_shares(
    total: Money,
    grants: &[ChargedGrant],
) -> Result<Vec<(&ChargedGrant, Money)>, Error> {
    grants
        .iter()
        .map(|charged| Ok((charged, planned_share(total, charged.share)?)))
        .collect()
}

/// Why the grants charged do not pay for a cast on `day` that costs each of them so much; empty when all of them do.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money.
///
/// ```
/// use heeltap::base::{Micro, Money};
/// use heeltap::casting::planning::charging::{ChargeWarningKind, ChargedGrant, charge_warnings};
/// let grant = ChargedGrant {
///     id: 1,
///     body: serde_json::from_str(r#"{"code": "g-1", "name": "Grant 1", "materials_budget": "100"}"#).unwrap(),
///     share: Micro::from_int(100),
///     spent: Money::from_int(60),
///     booked: Money::from_int(30),
/// };
/// let day = "2026-03-02".parse().unwrap();
/// let warnings = |cost| charge_warnings(day, &[(&grant, Money::from_int(cost))]);
/// assert!(warnings(10)?.is_empty(), "a budget exactly reached is kept");
/// assert_eq!(warnings(11)?[0].kind, ChargeWarningKind::OverBudget);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn charge_warnings(
    day: NaiveDate,
    charged: &[(&ChargedGrant, Money)],
) -> Result<Vec<ChargeWarning>, Error> {
    let mut warnings = Vec::new();
    for (grant, this_cast) in charged {
        warnings.extend(of_day(&grant.body, day));
        warnings.extend(of_budget(grant, *this_cast)?);
    }
    Ok(warnings)
}

fn of_day(grant: &GrantBody, day: NaiveDate) -> Option<ChargeWarning> {
    if grant.pays_on(day) {
        return None;
    }
    let code = grant.code.as_str();
    // A day that is not paid for and not before the start is after the end.
    let (kind, limit, detail) = match (grant.starts_on.filter(|first| day < *first), grant.ends_on)
    {
        (Some(first), _) => (
            ChargeWarningKind::BeforeStart,
            Some(first),
            format!("grant `{code}` pays from {first} on; the cast is on {day}"),
        ),
        (None, last) => (
            ChargeWarningKind::AfterEnd,
            last,
            format!(
                "grant `{code}` pays until {}; the cast is on {day}",
                last.map(|last| last.to_string()).unwrap_or_default()
            ),
        ),
    };
    Some(ChargeWarning {
        day: Some(day),
        limit_on: limit,
        ..warning(grant, kind, detail)
    })
}

fn of_budget(charged: &ChargedGrant, this_cast: Money) -> Result<Option<ChargeWarning>, Error> {
    let Some(budget) = charged.body.materials_budget else {
        return Ok(None);
    };
    let ChargedGrant { spent, booked, .. } = *charged;
    let all = Money::checked_sum([spent, booked, this_cast])?;
    if all <= budget {
        return Ok(None);
    }
    let over = all.checked_sub(budget)?;
    let detail = format!(
        "grant `{}` has a materials budget of {budget}: {spent} is spent, {booked} is booked and this cast costs it \
         {this_cast}, which is {over} too much",
        charged.body.code.as_str()
    );
    Ok(Some(ChargeWarning {
        budget: Some(budget),
        spent: Some(spent),
        booked: Some(booked),
        this_cast: Some(this_cast),
        ..warning(&charged.body, ChargeWarningKind::OverBudget, detail)
    }))
}

fn warning(grant: &GrantBody, kind: ChargeWarningKind, detail: String) -> ChargeWarning {
    ChargeWarning {
        grant: grant.code.clone(),
        kind,
        beyond: grant.beyond,
        detail,
        day: None,
        limit_on: None,
        budget: None,
        spent: None,
        booked: None,
        this_cast: None,
    }
}

/// Refuses a cast when a grant that says so does not pay for it.
///
/// # Errors
/// [`Error::Refused`] with all that is refused, as `charge_refusals`.
///
/// ```
/// use heeltap::casting::planning::charging::charges_allowed;
/// assert!(charges_allowed(&[]).is_ok());
/// ```
pub fn charges_allowed(warnings: &[ChargeWarning]) -> Result<(), Error> {
    let refused: Vec<&ChargeWarning> = warnings
        .iter()
        .filter(|warning| warning.beyond == Beyond::Refuse)
        .collect();
    if refused.is_empty() {
        return Ok(());
    }
    let details: Vec<&str> = refused
        .iter()
        .map(|warning| warning.detail.as_str())
        .collect();
    Err(Error::refused(RefusalKind::BeyondGrant, details.join("; "))
        .with("charge_refusals", json!(refused)))
}

/// A part of what a cast cost: the grant's id (none when nobody is charged), the component, the amount.
pub type CostShare = (Option<i64>, Component, Money);

/// Splits each component of a cost over the charged grants by largest remainder; ties go to the first. Components without
/// an amount are left out.
///
/// # Errors
/// [`Error::Invalid`] when a share is below 0 or all are 0.
///
/// ```
/// use heeltap::base::{Micro, Money};
/// use heeltap::casting::cost::{Component, Components};
/// use heeltap::casting::planning::charging::cost_shares;
/// let mut cost = Components::default();
/// cost.add(Component::Tape, Money::from_micro(5))?;
/// let half = Micro::from_int(50);
/// let parts = cost_shares(&cost, &[(7, half), (8, half)])?;
/// assert_eq!(parts, [
///     (Some(7), Component::Tape, Money::from_micro(3)),
///     (Some(8), Component::Tape, Money::from_micro(2)),
/// ]);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn cost_shares(
    components: &Components,
    charges: &[(i64, Micro)],
) -> Result<Vec<CostShare>, Error> {
    let weights: Vec<i64> = charges.iter().map(|(_, share)| share.micro()).collect();
    let mut parts = Vec::new();
    for (component, amount) in components
        .iter()
        .filter(|(_, amount)| *amount != Money::ZERO)
    {
        if charges.is_empty() {
            parts.push((None, component, amount));
            continue;
        }
        for ((grant_id, _), part) in charges.iter().zip(apportion(amount.micro(), &weights)?) {
            parts.push((Some(*grant_id), component, Money::from_micro(part)));
        }
    }
    Ok(parts)
}

/// What a grant bears of a cost that was split.
///
/// # Errors
/// [`Error::Invalid`] when the sum leaves the range of money.
///
/// ```
/// use heeltap::base::Money;
/// use heeltap::casting::cost::Component;
/// use heeltap::casting::planning::charging::borne_by;
/// let parts = [(Some(7), Component::Tape, Money::from_int(2)), (Some(7), Component::Cup, Money::from_int(1))];
/// assert_eq!(borne_by(7, &parts)?, Money::from_int(3));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn borne_by(grant_id: i64, parts: &[CostShare]) -> Result<Money, Error> {
    let own = parts
        .iter()
        .filter(|(grant, _, _)| *grant == Some(grant_id));
    Ok(Money::checked_sum(own.map(|(_, _, amount)| *amount))?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::Value;

    fn grant(patch: Value, (spent, booked): (&str, &str)) -> ChargedGrant {
        let mut whole = json!({"code": "g-1", "name": "Grant 1"});
        for (name, value) in patch.as_object().unwrap() {
            whole[name] = value.clone();
        }
        ChargedGrant {
            id: 1,
            body: serde_json::from_value(whole).unwrap(),
            share: Micro::from_int(100),
            spent: Money::parse(spent).unwrap(),
            booked: Money::parse(booked).unwrap(),
        }
    }

    #[track_caller]
    fn check(
        patch: Value,
        sums: (&str, &str),
        day: &str,
        cost: &str,
        expected: &[ChargeWarningKind],
    ) {
        let grant = grant(patch, sums);
        let cost = Money::parse(cost).unwrap();
        let found = charge_warnings(day.parse().unwrap(), &[(&grant, cost)]).unwrap();
        let kinds: Vec<ChargeWarningKind> = found.iter().map(|warning| warning.kind).collect();
        assert_eq!(kinds, expected);
    }

    #[test]
    fn days() {
        use ChargeWarningKind::{AfterEnd, BeforeStart};
        let march = json!({"starts_on": "2026-03-01", "ends_on": "2026-03-31"});
        let on = |day, expected| check(march.clone(), ("0", "0"), day, "1", expected);
        on("2026-02-28", &[BeforeStart]);
        on("2026-03-01", &[]);
        on("2026-03-31", &[]);
        on("2026-04-01", &[AfterEnd]);
        check(json!({}), ("0", "0"), "1999-01-01", "1", &[]);
        check(
            json!({"ends_on": "2026-03-31"}),
            ("0", "0"),
            "2026-04-01",
            "1",
            &[AfterEnd],
        );
    }

    #[test]
    fn budgets() {
        use ChargeWarningKind::{AfterEnd, OverBudget};
        let budget = json!({"materials_budget": "100"});
        let of = |sums, cost, expected| check(budget.clone(), sums, "2026-03-01", cost, expected);
        of(("0", "0"), "100", &[]);
        of(("0", "0"), "100.000001", &[OverBudget]);
        of(("60.5", "30"), "9.5", &[]);
        of(("60.5", "30.000001"), "9.5", &[OverBudget]);
        // What turned out cheaper than it was bought counts too.
        of(("-5", "100"), "5", &[]);
        let none = json!({"materials_budget": "0"});
        check(none.clone(), ("0", "0"), "2026-03-01", "0", &[]);
        check(none, ("0", "0"), "2026-03-01", "0.000001", &[OverBudget]);
        let both = json!({"materials_budget": "1", "ends_on": "2026-02-28"});
        check(both, ("1", "0"), "2026-03-01", "1", &[AfterEnd, OverBudget]);
    }

    #[test]
    fn only_a_grant_that_says_so_refuses() {
        let day = "2026-03-01".parse().unwrap();
        let warns = grant(json!({"materials_budget": "1"}), ("0", "0"));
        let refuses = grant(
            json!({"code": "g-2", "materials_budget": "3", "beyond": "refuse"}),
            ("1", "0.5"),
        );
        let two = Money::from_int(2);
        let warnings = charge_warnings(day, &[(&warns, two), (&refuses, two)]).unwrap();
        assert_eq!(warnings.len(), 2);
        assert!(charges_allowed(&warnings[..1]).is_ok());
        let Err(Error::Refused(refusal)) = charges_allowed(&warnings) else {
            panic!("it must be refused");
        };
        assert_eq!(refusal.kind, RefusalKind::BeyondGrant);
        assert_eq!(
            refusal.detail,
            "grant `g-2` has a materials budget of 3: 1 is spent, 0.5 is booked and this cast costs it 2, which is \
             0.5 too much"
        );
        assert_eq!(
            refusal.members["charge_refusals"],
            json!([{"grant": "g-2", "kind": "over_budget", "beyond": "refuse", "detail": refusal.detail,
                "budget": "3", "spent": "1", "booked": "0.5", "this_cast": "2"}])
        );
    }

    proptest! {
        #[test]
        fn shares_add_up_to_their_component(amounts in prop::collection::vec(-1_000_000_000_i64..1_000_000_000, 10),
            first in 1_i64..WHOLE) {
            let mut cost = Components::default();
            for (component, amount) in Component::ALL.into_iter().zip(amounts) {
                cost.add(component, Money::from_micro(amount)).unwrap();
            }
            let charges = [(1, Micro::from_micro(first)), (2, Micro::from_micro(WHOLE - first))];
            for charges in [&charges[..], &[]] {
                let parts = cost_shares(&cost, charges).unwrap();
                for component in Component::ALL {
                    let sum: i64 = parts.iter().filter(|p| p.1 == component).map(|p| p.2.micro()).sum();
                    prop_assert_eq!(sum, cost.get(component).micro());
                }
            }
            let parts = cost_shares(&cost, &charges).unwrap();
            let all = borne_by(1, &parts).unwrap().checked_add(borne_by(2, &parts).unwrap()).unwrap();
            prop_assert_eq!(all, cost.total().unwrap());
        }
    }
}
