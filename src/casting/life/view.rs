//! A cast as it is shown, with its costs.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::charges_input::ChargeChange;
use super::demold_input::DemoldRecord;
use super::pour::{PourRecord, plan_of};
use super::recharge::change_shown;
use crate::base::{Currency, Error, Micro, Money, kept_read};
use crate::casting::cost::{Component, Components, CostView};
use crate::casting::planning::charging::ChargeWarning;
use crate::casting::planning::plan_view::{CastPlan, PickView};
use crate::casting::planning::request::{Charge, PlanRequest};
use crate::casting::store::{self, CastRow};
use crate::db::{AnyConnection, instant};

/// A cast.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CastView {
    /// The cast's code.
    pub code: String,
    /// `booked`, `poured`, `demolded` or `cancelled`.
    pub state: String,
    /// Whether it holds less than it needs.
    pub short: bool,
    /// The recipe's code.
    pub recipe: String,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// What was asked for.
    pub request: PlanRequest,
    /// The plan it was booked from.
    pub plan: CastPlan,
    /// Who pays.
    pub charges: Vec<Charge>,
    /// The grants that do not pay for it, and why, as of when it was booked, planned again or charged otherwise.
    pub charge_warnings: Vec<ChargeWarning>,
    /// How it was charged otherwise since it was booked, the oldest first.
    pub charge_changes: Vec<ChargeChange>,
    /// The packs it was promised at booking.
    pub picks: Vec<PickView>,
    /// When it was booked.
    pub booked_at: DateTime<Utc>,
    /// Who booked it.
    pub booked_by: String,
    /// The pour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pour: Option<PourRecord>,
    /// The day of the pour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poured_on: Option<NaiveDate>,
    /// Who poured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poured_by: Option<String>,
    /// The demould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demold: Option<DemoldRecord>,
    /// The day of the demould.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demolded_on: Option<NaiveDate>,
    /// Who demoulded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub demolded_by: Option<String>,
    /// When it was cancelled.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cancelled_at: Option<DateTime<Utc>>,
    /// The cost as planned.
    pub cost_planned: CostView,
    /// The cost as it came, once poured; per good chip once demoulded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost_actual: Option<CostView>,
    #[serde(skip)]
    pub(in crate::casting) id: i64,
    /// How often it was changed, and 1: what a change of it names as the version it is based on.
    #[serde(skip)]
    pub version: i64,
}

/// One cast.
///
/// # Errors
/// [`Error::NotFound`] without such a cast.
pub fn cast_show(
    conn: &mut AnyConnection,
    code: &str,
    currency: Currency,
) -> Result<CastView, Error> {
    let missing = || Error::not_found("cast", code);
    let row = store::cast_by_code(conn, code)?.ok_or_else(missing)?;
    all_shown(conn, vec![row], currency)?
        .pop()
        .ok_or_else(missing)
}

/// Casts with ids above `after`, of one state or recipe if said; one row more than `limit` when there are more.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn casts_list(
    conn: &mut AnyConnection,
    (state, recipe_id): (Option<&str>, Option<i64>),
    (after, limit): (i64, i64),
    currency: Currency,
) -> Result<Vec<CastView>, Error> {
    let rows = store::casts_page(conn, state, recipe_id, after, limit)?;
    all_shown(conn, rows, currency)
}

/// The casts that were demoulded last, the latest first; `limit` at most.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn casts_demolded_last(
    conn: &mut AnyConnection,
    limit: i64,
    currency: Currency,
) -> Result<Vec<CastView>, Error> {
    let rows = store::casts_demolded_last(conn, limit)?;
    all_shown(conn, rows, currency)
}

fn read<T: serde::de::DeserializeOwned>(text: &Option<String>) -> Result<Option<T>, Error> {
    text.as_deref()
        .map(kept_read)
        .transpose()
        .map_err(Error::internal)
}

/// Casts with their charges and costs, in as many queries however many they are.
fn all_shown(
    conn: &mut AnyConnection,
    rows: Vec<CastRow>,
    currency: Currency,
) -> Result<Vec<CastView>, Error> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let mut charges = store::charges_by_cast(conn, &ids)?;
    let mut costs = store::cast_costs_fetch(conn, &ids)?;
    let mut changes = store::charge_changes_by_cast(conn, &ids)?;
    rows.into_iter()
        .map(|row| {
            let charges = charges.remove(&row.id).unwrap_or_default();
            let costs = costs.remove(&row.id).unwrap_or_default();
            let changes = changes.remove(&row.id).unwrap_or_default();
            shown(row, (charges, changes), costs, currency)
        })
        .collect()
}

fn shown(
    row: CastRow,
    (charges, changes): (Vec<store::ChargeRow>, Vec<store::ChargeChangeRow>),
    costs: Vec<(String, Money)>,
    currency: Currency,
) -> Result<CastView, Error> {
    let plan = plan_of(&row.plan)?;
    let charges = charges
        .into_iter()
        .map(|(_, grant, share)| Charge { grant, share })
        .collect();
    let cost_actual = match row.poured_on {
        None => None,
        Some(_) => {
            let good = i32::try_from(row.good_chips.unwrap_or(0))
                .map(Micro::from_int)
                .map_err(Error::internal)?;
            Some(CostView::new(
                &components(costs)?,
                currency.as_str(),
                "actual",
                good,
            )?)
        }
    };
    Ok(CastView {
        recipe: plan.recipe.to_string(),
        cast_on: row.cast_on,
        request: kept_read(&row.request).map_err(Error::internal)?,
        charges,
        charge_warnings: plan.charge_warnings.clone(),
        charge_changes: changes
            .into_iter()
            .map(change_shown)
            .collect::<Result<_, _>>()?,
        picks: plan.picks.clone(),
        booked_at: instant(row.booked_at),
        booked_by: row.booked_by,
        pour: read(&row.pour)?,
        poured_on: row.poured_on,
        poured_by: row.poured_by,
        demold: read(&row.demold)?,
        demolded_on: row.demolded_on,
        demolded_by: row.demolded_by,
        cancelled_at: row.cancelled_at.map(instant),
        cost_planned: plan.cost.clone(),
        cost_actual,
        plan,
        code: row.code,
        state: row.state,
        short: row.short,
        id: row.id,
        version: row.version,
    })
}

/// What a cast cost, by component.
pub(super) fn components(costs: Vec<(String, Money)>) -> Result<Components, Error> {
    let mut components = Components::default();
    for (word, amount) in costs {
        let component = Component::from_word(&word)
            .ok_or_else(|| Error::internal(format!("the component `{word}` is unknown")))?;
        components.add(component, amount)?;
    }
    Ok(components)
}
