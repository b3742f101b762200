//! What if, as it is shown: the plan, and beside it what it would be with one thing changed.

use serde::Serialize;
use utoipa::ToSchema;

use super::plan_view::{CastPlan, FillView};
use crate::base::{Code, Error, MICRO_PER_UNIT, Micro, Money};
use crate::casting::cost::{Component, ComponentAmount};

/// A plan, and what it would be otherwise. A list is as long as it was asked for.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WhatIfOut {
    /// The plan as it is.
    pub plan: CastPlan,
    /// The same in a line, to be held against the others.
    pub unchanged: PlanLine,
    /// With other numbers of trays in a cup.
    pub containers_per_batch: Vec<BatchLine>,
    /// With other times to drain.
    pub drain_time_s: Vec<DrainLine>,
    /// In other trays.
    pub container: Vec<ContainerLine>,
    /// At other prices.
    pub prices: Vec<PriceLine>,
    /// With other shares of good chips.
    #[serde(rename = "yield")]
    pub yields: Vec<YieldLine>,
}

/// A plan in a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PlanLine {
    /// Trays.
    pub containers: u32,
    /// Cups of mix.
    pub batches: u32,
    /// All that is mixed, in g.
    pub total_g: Micro,
    /// What is planned to stay in the cups, in g.
    pub residue_g: Micro,
    /// Whether the stock serves it; what is short costs nothing here.
    pub in_stock: bool,
    /// Good chips to expect.
    pub expected_good_chips: Micro,
    /// The planned cost, in the base currency.
    pub total: Money,
    /// For each good chip to expect.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_good_chip: Option<Money>,
    /// The planned cost by component.
    pub components: Vec<ComponentAmount>,
}

/// A line, or why there is none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = WhatIfOutcome)]
pub struct Outcome {
    /// The plan; absent when it cannot be cast so.
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    pub line: Option<PlanLine>,
    /// Why it cannot be cast so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_possible: Option<String>,
}

/// The cast when a cup fills at most so many trays.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct BatchLine {
    /// Most trays in a cup, as asked.
    pub containers_per_batch: u32,
    /// What comes of it.
    #[serde(flatten)]
    pub outcome: Outcome,
}

/// The cast when the cups drain for so long.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DrainLine {
    /// How long, in s.
    pub drain_time_s: Micro,
    /// What comes of it.
    #[serde(flatten)]
    pub outcome: Outcome,
}

/// The cast in another tray.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ContainerLine {
    /// The tray's code.
    pub container: Code,
    /// The fill of one tray.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fill: Option<FillView>,
    /// Of that, what is cut away, in g.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trim_g: Option<Micro>,
    /// What comes of it.
    #[serde(flatten)]
    pub outcome: Outcome,
}

/// The cast at another price of a material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PriceLine {
    /// The material's code.
    pub material: Code,
    /// By which share its price changes.
    pub change: Micro,
    /// The cost of a good chip before and after, by component; empty when no good chip is to be expected.
    pub by_component: Vec<ComponentChange>,
    /// What comes of it.
    #[serde(flatten)]
    pub outcome: Outcome,
}

/// What a component costs for each good chip.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ComponentChange {
    /// The component.
    pub component: Component,
    /// As it is.
    pub before: Money,
    /// At the other price.
    pub after: Money,
}

/// The cast when another share of the chips is good.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct YieldLine {
    /// The share.
    #[serde(rename = "yield")]
    pub share: Micro,
    /// The same trays with that yield.
    #[serde(flatten)]
    pub outcome: Outcome,
    /// The trays that the good chips wanted need then, with probability 0.90; when chips are wanted, not trays.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub for_wanted: Option<Outcome>,
}

impl PlanLine {
    /// A plan in a line.
    ///
    /// ```
    /// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
    /// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
    /// use heeltap::casting::planning::{plan::plan, what_if_view::PlanLine};
    /// let request = r#"{"recipe": "chip", "containers": 4, "cast_on": "2026-03-02"}"#;
    /// let view = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
    /// assert_eq!(PlanLine::of(&view).batches, 2);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    #[must_use]
    pub fn of(view: &CastPlan) -> Self {
        Self {
            containers: view.containers,
            batches: u32::try_from(view.batches.len()).unwrap_or(u32::MAX),
            total_g: view.mix.total_g,
            residue_g: view.residue.planned_g,
            in_stock: view.shortages.is_empty(),
            expected_good_chips: view.expected_good_chips,
            total: view.cost.total,
            per_good_chip: view.cost.per_good_chip,
            components: view.cost.components.clone(),
        }
    }
}

impl PlanLine {
    /// The planned cost of what stays in the cups over all that is planned to be spent, 0 to 1, half to even; none when nothing is.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves its range.
    ///
    /// ```
    /// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
    /// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
    /// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
    /// use heeltap::casting::planning::{plan::plan, what_if_view::PlanLine};
    /// let request = r#"{"recipe": "chip", "containers": 4, "cast_on": "2026-03-02"}"#;
    /// let line = PlanLine::of(&plan(&facts, &serde_json::from_str(request).unwrap())?.view);
    /// // What is short costs nothing, and nothing is in stock.
    /// assert_eq!(line.residue_share()?, None);
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn residue_share(&self) -> Result<Option<Micro>, Error> {
        let residue = |part: &&ComponentAmount| part.component == Component::Residue;
        let Some(part) = self.components.iter().find(residue) else {
            return Ok(None);
        };
        if self.total.is_zero() {
            return Ok(None);
        }
        let one = Micro::from_micro(MICRO_PER_UNIT);
        let share = one.mul_div_half_even(part.amount.micro(), self.total.micro())?;
        Ok(Some(share))
    }
}

impl Outcome {
    /// The line of a plan, or why it cannot be cast so. What is wrong otherwise stays an error.
    ///
    /// # Errors
    /// Any but [`Error::Invalid`].
    ///
    /// ```
    /// use heeltap::base::Error;
    /// use heeltap::casting::planning::what_if_view::Outcome;
    /// let outcome = Outcome::of(Err(&Error::invalid("/recipe", "the mould does not fit")))?;
    /// assert_eq!(outcome.not_possible.as_deref(), Some("the mould does not fit"));
    /// # Ok::<(), Error>(())
    /// ```
    pub fn of(planned: Result<&CastPlan, &Error>) -> Result<Self, Error> {
        match planned {
            Ok(view) => Ok(Self {
                line: Some(PlanLine::of(view)),
                not_possible: None,
            }),
            Err(Error::Invalid(faults)) => {
                let details: Vec<&str> = faults.iter().map(|fault| fault.detail.as_str()).collect();
                Ok(Self {
                    line: None,
                    not_possible: Some(details.join("; ")),
                })
            }
            Err(other) => Err(Error::internal(other)),
        }
    }
}

/// What each component costs for each good chip, before and after, rounded to the millionth, half to even.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves the range of money.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::casting::planning::{plan::plan, what_if_view::component_changes};
/// let request = r#"{"recipe": "chip", "containers": 4, "cast_on": "2026-03-02"}"#;
/// let view = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// assert_eq!(component_changes(&view, &view)?.len(), 10);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn component_changes(
    before: &CastPlan,
    after: &CastPlan,
) -> Result<Vec<ComponentChange>, Error> {
    let good = before.expected_good_chips.micro();
    if good <= 0 {
        return Ok(Vec::new());
    }
    let per_chip = |amount: Money| amount.mul_div_half_even(MICRO_PER_UNIT, good);
    before
        .cost
        .components
        .iter()
        .zip(&after.cost.components)
        .map(|(before, after)| {
            Ok(ComponentChange {
                component: before.component,
                before: per_chip(before.amount)?,
                after: per_chip(after.amount)?,
            })
        })
        .collect()
}
