//! What if: the same cast with other numbers of trays in a cup, and what each would cost. Pure.
//!
//! Fewer trays in a cup mean more cups, each with its own residue, stirrer's loss and cup to pay for; more mean fewer, as far
//! as cup, pot life, rounds and groups allow. Each line is a whole plan on the same facts. Deliberately absent: any choice.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::plan::{PlanFacts, plan};
use super::plan_view::CastPlan;
use super::request::PlanRequest;
use crate::base::{Error, Micro, Money};

/// Most lines that are computed.
const LINES_MAX: u32 = 24;

/// A plan with what other divisions into cups would cost.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PlanAnswer {
    /// The plan.
    #[serde(flatten)]
    pub plan: CastPlan,
    /// The lines, by trays in a cup; only when they were asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub what_if: Option<Vec<CupLine>>,
}

/// The cast when a cup fills at most so many trays.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CupLine {
    /// Most trays in a cup.
    pub containers_per_batch: u32,
    /// Cups.
    pub batches: u32,
    /// All that is mixed, in g.
    pub total_g: Micro,
    /// What is planned to stay in the cups, in g.
    pub residue_g: Micro,
    /// Whether the stock serves it.
    pub in_stock: bool,
    /// The planned cost, in the base currency.
    pub total: Money,
    /// For each good chip expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_good_chip: Option<Money>,
    /// Whether it is the division of the plan.
    pub chosen: bool,
}

/// Plans the cast, of which `chosen` is the plan, with every number of trays in a cup from 1 to the most that fits.
///
/// # Errors
/// As [`plan`].
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::casting::planning::what_if::what_if;
/// let request = r#"{"recipe": "chip", "containers": 4, "cast_on": "2026-03-02"}"#;
/// let request = serde_json::from_str(request).unwrap();
/// let lines = what_if(&facts, &request, &plan(&facts, &request)?.view)?;
/// // Two rounds of two trays: four cups of one tray, or two of two.
/// let cups: Vec<(u32, u32)> = lines.iter().map(|line| (line.containers_per_batch, line.batches)).collect();
/// assert_eq!(cups, [(1, 4), (2, 2)]);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn what_if(
    facts: &PlanFacts,
    request: &PlanRequest,
    chosen: &CastPlan,
) -> Result<Vec<CupLine>, Error> {
    let free = PlanRequest {
        containers: Some(chosen.containers),
        good_chips_wanted: None,
        containers_per_batch: None,
        ..request.clone()
    };
    let most = greatest(&plan(facts, &free)?.view);
    let wanted = greatest(chosen);
    let mut lines = Vec::new();
    for containers_per_batch in (1..=most).filter(|n| *n < LINES_MAX || *n == most) {
        let asked = PlanRequest {
            containers_per_batch: Some(containers_per_batch),
            ..free.clone()
        };
        let view = plan(facts, &asked)?.view;
        // A limit that even shares do not reach is the line of the number below it.
        if greatest(&view) == containers_per_batch {
            lines.push(line(&view, containers_per_batch == wanted));
        }
    }
    Ok(lines)
}

fn greatest(view: &CastPlan) -> u32 {
    let trays = view.batches.iter().map(|batch| batch.containers);
    trays.max().unwrap_or(1)
}

fn line(view: &CastPlan, chosen: bool) -> CupLine {
    CupLine {
        containers_per_batch: greatest(view),
        batches: u32::try_from(view.batches.len()).unwrap_or(u32::MAX),
        total_g: view.mix.total_g,
        residue_g: view.residue.planned_g,
        in_stock: view.shortages.is_empty(),
        total: view.cost.total,
        per_good_chip: view.cost.per_good_chip,
        chosen,
    }
}
