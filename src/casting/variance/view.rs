//! What a cast cost beside what was planned, as it is shown. Pure.

use serde::Serialize;
use utoipa::ToSchema;

use super::split::{CastRejects, rejects, split};
use super::used::{CastDone, used};
use super::words::{Explained, why};
use crate::base::{Error, Money, Quantity, Unit};
use crate::casting::cost::{Component, CostView};
use crate::casting::life::demold_input::DemoldRecord;

/// The cost of a cast: as planned, as it came, and what makes the difference.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CastCost {
    /// The cost that holds: actual once poured, planned before.
    #[serde(flatten)]
    pub cost: CostView,
    /// The cost as planned, by the lots that the plan picked.
    pub planned: CostView,
    /// The actual total less the planned, once poured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference: Option<Money>,
    /// What makes the difference, for every component in order, once poured. The differences add up to the total's.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub variance: Vec<ComponentVariance>,
    /// The rejected chips and what they cost, once demoulded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rejects: Option<CastRejects>,
    /// Whether no chip is good, so that all of it is the cost of scrap, once demoulded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scrap: Option<bool>,
}

/// What makes one component dearer or cheaper than planned.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ComponentVariance {
    /// The component.
    pub component: Component,
    /// Its cost as planned, in the base currency.
    pub planned: Money,
    /// Its cost as it came.
    pub actual: Money,
    /// Actual less planned.
    pub difference: Money,
    /// The unit of the quantities: g for elastomer, m for tape, each for cups and trays. Coats and mould are counted in
    /// trays cast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// The planned quantity, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub planned_quantity: Option<Quantity>,
    /// The actual quantity, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub actual_quantity: Option<Quantity>,
    /// What the other quantity makes at the planned price, rounded once, half to even; absent where nothing was planned or
    /// the plan had no price.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_quantity: Option<Money>,
    /// The rest of the difference: other lots, or the same ones worth more or less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_price: Option<Money>,
    /// Why, in one sentence.
    pub why: String,
}

fn amount(view: &CostView, component: Component) -> Result<Money, Error> {
    let of_it = view
        .components
        .iter()
        .filter(|of| of.component == component);
    Ok(Money::checked_sum(of_it.map(|of| of.amount))?)
}

/// Explains the difference of every component.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range; [`Error::Internal`] for a pour of which more stayed than was mixed.
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
/// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// use heeltap::base::{Micro, Money, Quantity};
/// use heeltap::casting::cost::{Component, Components, CostView};
/// use heeltap::casting::variance::used::CastDone;
/// use heeltap::casting::variance::view::variances;
/// let mut cost = Components::default();
/// cost.add(Component::Sundries, Money::from_int(3))?;
/// let actual = CostView::new(&cost, "EUR", "actual", Micro::ZERO)?;
/// let done = CastDone { plan: &plan, batches: &[], containers: 2, vials: 0, tape: Quantity::ZERO, lots: vec![] };
/// let found = variances(&done, &actual)?;
/// assert_eq!(found.len(), 10);
/// assert_eq!(found[9].why, "sundries came to 3 EUR for 0 EUR planned, 3 EUR more");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn variances(done: &CastDone<'_>, actual: &CostView) -> Result<Vec<ComponentVariance>, Error> {
    let mut found = Vec::with_capacity(Component::ALL.len());
    for component in Component::ALL {
        let costs = (
            amount(&done.plan.cost, component)?,
            amount(actual, component)?,
        );
        let used = used(done, component)?;
        let split = split(costs.0, costs.1, used.as_ref())?;
        let explained = Explained {
            component,
            costs,
            used,
            split,
            currency: &actual.currency,
        };
        found.push(ComponentVariance {
            component,
            planned: costs.0,
            actual: costs.1,
            difference: split.difference,
            unit: used.map(|used| used.unit),
            planned_quantity: used.map(|used| used.planned),
            actual_quantity: used.map(|used| used.actual),
            by_quantity: split.by_quantity,
            by_price: split.by_price,
            why: why(done, &explained),
        });
    }
    Ok(found)
}

impl CastCost {
    /// The cost of a cast that is not poured.
    ///
    /// ```
    /// use heeltap::base::Micro;
    /// use heeltap::casting::cost::{Components, CostView};
    /// use heeltap::casting::variance::view::CastCost;
    /// let planned = CostView::new(&Components::default(), "EUR", "planned", Micro::from_int(8))?;
    /// let cost = CastCost::planned(planned);
    /// assert_eq!((cost.cost.basis.as_str(), cost.variance.len(), cost.scrap), ("planned", 0, None));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    #[must_use]
    pub fn planned(planned: CostView) -> Self {
        Self {
            cost: planned.clone(),
            planned,
            difference: None,
            variance: Vec::new(),
            rejects: None,
            scrap: None,
        }
    }

    /// The cost of a cast that is poured, and of its rejects once it is demoulded.
    ///
    /// # Errors
    /// As [`variances`].
    ///
    /// ```
    /// # use heeltap::casting::planning::plan::{PlanFacts, plan};
    /// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
    /// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
    /// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
    /// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
    /// use heeltap::base::{Micro, Money, Quantity};
    /// use heeltap::casting::cost::{Component, Components, CostView};
    /// use heeltap::casting::variance::used::CastDone;
    /// use heeltap::casting::variance::view::CastCost;
    /// let mut components = Components::default();
    /// components.add(Component::Mold, Money::from_int(4))?;
    /// let actual = CostView::new(&components, "EUR", "actual", Micro::ZERO)?;
    /// let done = CastDone { plan: &plan, batches: &[], containers: 2, vials: 0, tape: Quantity::ZERO, lots: vec![] };
    /// let scrapped = serde_json::from_str(r#"{"good": 0, "rejected": 8, "rejects": []}"#).unwrap();
    /// let cost = CastCost::actual(&done, actual, Some(&scrapped))?;
    /// assert_eq!((cost.scrap, cost.cost.per_good_chip), (Some(true), None));
    /// assert_eq!(cost.rejects.map(|rejects| rejects.amount), Some(Money::from_int(4)));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn actual(
        done: &CastDone<'_>,
        actual: CostView,
        demold: Option<&DemoldRecord>,
    ) -> Result<Self, Error> {
        let planned = done.plan.cost.clone();
        let rejects = demold
            .map(|counted| rejects(actual.total, counted.good, counted.rejected))
            .transpose()?;
        Ok(Self {
            difference: Some(actual.total.checked_sub(planned.total)?),
            variance: variances(done, &actual)?,
            rejects,
            scrap: demold.map(|counted| counted.good == 0),
            cost: actual,
            planned,
        })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::base::{Currency, Micro};
    use crate::casting::cost::Components;
    use crate::casting::planning::plan::{PlanFacts, plan};
    use crate::casting::planning::plan_view::CastPlan;

    fn view(amounts: &[i64], basis: &str) -> CostView {
        let mut components = Components::default();
        for (component, micro) in Component::ALL.into_iter().zip(amounts) {
            components
                .add(component, Money::from_micro(*micro))
                .expect("a sum in range");
        }
        CostView::new(&components, "EUR", basis, Micro::from_int(8)).expect("a cost")
    }

    /// The plan of the sample, with other costs.
    fn planned_at(amounts: &[i64]) -> CastPlan {
        let recipe = include_str!("../samples/recipe.json");
        let euro = Currency::parse("EUR").expect("a currency");
        let facts = PlanFacts::bare(serde_json::from_str(recipe).expect("a recipe"), euro);
        let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
        let request = serde_json::from_str(request).expect("a request");
        let mut found = plan(&facts, &request).expect("a plan").view;
        found.cost = view(amounts, "planned");
        found
    }

    fn amounts() -> impl Strategy<Value = Vec<i64>> {
        prop::collection::vec(0_i64..1_000_000_000_000, Component::ALL.len())
    }

    proptest! {
        #[test]
        fn the_parts_of_every_difference_add_up_to_that_of_the_whole(
            before in amounts(), after in amounts(), containers in 1_u32..5,
        ) {
            let plan = planned_at(&before);
            let done = CastDone {
                plan: &plan, batches: &[], containers, vials: 1, tape: Quantity::from_int(3), lots: vec![],
            };
            let cost = CastCost::actual(&done, view(&after, "actual"), None).expect("a cost");
            let sum: i64 = cost.variance.iter().map(|row| row.difference.micro()).sum();
            prop_assert_eq!(Some(sum), cost.difference.map(|all| all.micro()));
            for row in &cost.variance {
                prop_assert_eq!(row.actual.micro() - row.planned.micro(), row.difference.micro());
                if let (Some(quantity), Some(price)) = (row.by_quantity, row.by_price) {
                    prop_assert_eq!(quantity.micro() + price.micro(), row.difference.micro());
                }
                prop_assert!(!row.why.is_empty());
            }
        }
    }
}
