//! What is told at the pour, parsed and checked against the plan. Pure.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::outliers::weighings_mark;
use crate::base::{Error, FieldError, Micro, Quantity};
use crate::casting::planning::geometry::draining;
use crate::casting::planning::plan_view::CastPlan;
use crate::casting::planning::sizing::rounded;
use crate::casting::planning::taught_fill::{PouredMass, check_level};
use crate::casting::sums::learned::{FactorPosterior, check_weighing};
use crate::casting::sums::residue::CupDraining;
use crate::catalogue::RecipeFacts;

/// A pour.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PourIn {
    /// The day it was poured.
    pub poured_on: NaiveDate,
    /// The batches as they were really weighed, in the plan's order; at least one.
    #[schema(min_items = 1)]
    pub batches: Vec<PourBatch>,
    /// Trays really poured; the plan's unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1000)]
    pub containers_poured: Option<u32>,
    /// The level observed in a tray, in mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_mm: Option<Micro>,
    /// Whether the copies that were due were coated; true unless said. False when they were cast as they were.
    #[serde(default = "yes")]
    #[schema(default = true)]
    pub coats_renewed: bool,
    /// Whether the bench is right when more was used than the books hold: the difference is then counted in first.
    #[serde(default)]
    pub recount: bool,
}

fn yes() -> bool {
    true
}

/// A batch as it was weighed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PourBatch {
    /// Base weighed in, in g.
    pub base_g: Micro,
    /// Curing agent weighed in, in g.
    pub curing_agent_g: Micro,
    /// What stayed in the cup, in g; or say what the cup weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub residue_g: Option<Micro>,
    /// What the empty cup weighed, in g; the cup material's own tare unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cup_tare_g: Option<Micro>,
    /// What the cup weighed after pouring, in g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cup_gross_g: Option<Micro>,
    /// Whether the weighing holds what the stirrer carries, because it stood in the cup; false unless said.
    #[serde(default)]
    pub stirrer_in_weighing: bool,
    /// Why the whole batch was thrown away; a batch that was poured says nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub discarded: Option<String>,
    /// The pack the base really came from; the promised one unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_pack_id: Option<i64>,
    /// The pack the curing agent really came from; the promised one unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub curing_agent_pack_id: Option<i64>,
}

/// A batch with its residue settled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PouredBatch {
    /// Its number, from 1.
    pub no: i32,
    /// Trays it filled.
    pub containers: u32,
    /// Base weighed in, in g.
    pub base_g: Micro,
    /// Curing agent weighed in, in g.
    pub curing_agent_g: Micro,
    /// Both, in g.
    pub total_g: Micro,
    /// What stayed in the cup and on the stirrer, in g.
    pub residue_g: Micro,
    /// Of the residue, the base, in g: split at the batch's own ratio.
    pub residue_base_g: Micro,
    /// `weighed` or `estimated`.
    pub residue_basis: String,
    /// What the draining film alone would leave of this mix, in g.
    pub film_g: Micro,
    /// Of the residue, what the stirrer carried, in g, as the recipe states it.
    #[serde(default)]
    pub stirrer_loss_g: Micro,
    /// Of a weighed cup: how far the weighing was from what was expected just before it, in predictive standard
    /// deviations.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub z: Option<Micro>,
    /// Whether that is more than 3.5 either way: the weighing is kept and teaches less; weigh the cup again if you can.
    #[serde(default)]
    pub outlier: bool,
    /// Why it was thrown away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub discarded: Option<String>,
    /// The pack the base came from, if one was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_pack_id: Option<i64>,
    /// The pack the curing agent came from, if one was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub curing_agent_pack_id: Option<i64>,
}

impl PouredBatch {
    /// What the film left in the cup, without the stirrer's loss, in g; never below 0.
    ///
    /// # Errors
    /// [`Error::Invalid`] when it leaves the range of decimals.
    ///
    /// ```
    /// use heeltap::casting::life::pour_input::PouredBatch;
    /// let batch = r#"{"no": 1, "containers": 2, "base_g": "50", "curing_agent_g": "5", "total_g": "55", "residue_g": "4.5",
    ///     "stirrer_loss_g": "0.5", "residue_base_g": "4", "residue_basis": "weighed", "film_g": "4"}"#;
    /// let batch: PouredBatch = serde_json::from_str(batch).unwrap();
    /// assert_eq!(batch.film_residue_g()?.to_string(), "4");
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn film_residue_g(&self) -> Result<Micro, Error> {
        Ok(self
            .residue_g
            .checked_sub(self.stirrer_loss_g)?
            .max(Micro::ZERO))
    }
}

/// A pour with every residue settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Poured {
    /// The batches.
    pub batches: Vec<PouredBatch>,
    /// Trays poured.
    pub containers: u32,
}

impl Poured {
    /// What went into the trays, as far as a level can teach by it.
    ///
    /// # Errors
    /// [`Error::Invalid`] when a sum leaves the range of decimals.
    ///
    /// ```
    /// use heeltap::casting::life::pour_input::{Poured, PouredBatch};
    /// let batch = r#"{"no": 1, "containers": 2, "base_g": "50", "curing_agent_g": "5", "total_g": "55", "residue_g": "4.5",
    ///     "residue_base_g": "4", "residue_basis": "weighed", "film_g": "4"}"#;
    /// let batch: PouredBatch = serde_json::from_str(batch).unwrap();
    /// let mass = Poured { batches: vec![batch], containers: 2 }.mass()?;
    /// assert_eq!((mass.poured_g, mass.weighed), (50.5, true));
    /// # Ok::<(), heeltap::base::Error>(())
    /// ```
    pub fn mass(&self) -> Result<PouredMass, Error> {
        let mut poured_g = Micro::ZERO;
        let kept = || {
            self.batches
                .iter()
                .filter(|batch| batch.discarded.is_none())
        };
        for batch in kept() {
            poured_g = poured_g.checked_add(batch.total_g.checked_sub(batch.residue_g)?)?;
        }
        Ok(PouredMass {
            poured_g: poured_g.to_f64(),
            containers: self.containers,
            weighed: kept().all(|batch| batch.residue_basis == "weighed"),
        })
    }
}

/// Settles what was told at the pour.
///
/// # Errors
/// [`Error::Invalid`] with every fault: masses that are not above 0, a residue larger than the mix, a weighing without its
/// tare, more trays than planned.
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # use heeltap::casting::sums::learned::FactorPosterior;
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
/// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// use heeltap::casting::life::pour_input::{PourIn, settle_pour};
/// let told = |residue_g: &str| -> PourIn {
///     serde_json::from_value(serde_json::json!({"poured_on": "2026-03-02",
///         "batches": [{"base_g": "50", "curing_agent_g": "5", "residue_g": residue_g}]})).unwrap()
/// };
/// let poured = settle_pour(&told("4.4"), &plan, &facts.recipe, &FactorPosterior::prior())?;
/// assert_eq!(poured.batches[0].residue_base_g.to_string(), "4"); // 10 : 1, as the batch was weighed.
/// let more_than_mixed = settle_pour(&told("56"), &plan, &facts.recipe, &FactorPosterior::prior());
/// assert!(more_than_mixed.unwrap_err().to_string().contains("only 55 g were mixed"));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn settle_pour(
    input: &PourIn,
    plan: &CastPlan,
    facts: &RecipeFacts,
    posterior: &FactorPosterior,
) -> Result<Poured, Error> {
    let mut faults = Vec::new();
    let containers = input.containers_poured.unwrap_or(plan.containers);
    if containers == 0 || containers > plan.containers {
        let detail = format!(
            "{containers} is out of range: 1 to the {} trays planned",
            plan.containers
        );
        faults.push(FieldError::new("/containers_poured", detail));
    }
    let good = input
        .batches
        .iter()
        .filter(|batch| batch.discarded.is_none())
        .count();
    if good == 0 {
        faults.push(FieldError::new(
            "/batches",
            "no batch was poured: give at least one that was not discarded, or cancel the cast",
        ));
    }
    faults.extend(
        input
            .level_mm
            .and_then(|level| check_level(facts, "/level_mm", level)),
    );
    let cup = draining(facts)
        .ok_or_else(|| Error::internal("the cup of a booked cast has no dimensions"))?;
    let shares = tray_shares(input, plan, containers);
    let mut batches = Vec::new();
    for (index, (batch, trays)) in input.batches.iter().zip(shares).enumerate() {
        match settle_batch(batch, index, facts, &cup, posterior) {
            Ok(settled) => batches.push(PouredBatch {
                containers: trays,
                ..settled
            }),
            Err(mut found) => faults.append(&mut found),
        }
    }
    if faults.is_empty() {
        weighings_mark(&mut batches, posterior)?;
        Ok(Poured {
            batches,
            containers,
        })
    } else {
        Err(Error::Invalid(faults))
    }
}

/// Trays each batch filled: as planned when nothing deviates, else spread by what the plan gave the batches that were poured.
fn tray_shares(input: &PourIn, plan: &CastPlan, containers: u32) -> Vec<u32> {
    let planned = |index: usize| {
        plan.batches
            .get(index)
            .or(plan.batches.last())
            .map_or(1, |batch| i64::from(batch.containers))
    };
    let weights: Vec<i64> = input
        .batches
        .iter()
        .enumerate()
        .map(|(index, batch)| {
            if batch.discarded.is_some() {
                0
            } else {
                planned(index).max(1)
            }
        })
        .collect();
    let shares = crate::base::apportion(i64::from(containers), &weights)
        .unwrap_or_else(|_| vec![0; weights.len()]);
    shares
        .into_iter()
        .map(|share| u32::try_from(share).unwrap_or(0))
        .collect()
}

fn settle_batch(
    batch: &PourBatch,
    index: usize,
    facts: &RecipeFacts,
    cup: &CupDraining,
    posterior: &FactorPosterior,
) -> Result<PouredBatch, Vec<FieldError>> {
    let at = |field: &str| format!("/batches/{index}/{field}");
    let mut faults = Vec::new();
    for (field, mass) in [
        ("base_g", batch.base_g),
        ("curing_agent_g", batch.curing_agent_g),
    ] {
        if mass <= Micro::ZERO {
            faults.push(FieldError::new(
                at(field),
                format!("{mass} g is out of range: more than 0"),
            ));
        }
    }
    if let Some(reason) = batch
        .discarded
        .as_ref()
        .filter(|r| r.trim().is_empty() || r.chars().count() > 200)
    {
        faults.push(FieldError::new(
            at("discarded"),
            format!(
                "a reason has 1 to 200 characters; this has {}",
                reason.chars().count()
            ),
        ));
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let one = |pointer: String, detail: String| vec![FieldError::new(pointer, detail)];
    let total = batch
        .base_g
        .checked_add(batch.curing_agent_g)
        .map_err(|e| one(at("base_g"), e.to_string()))?;
    let weighed = weighed_residue(batch, facts, &at)?;
    if weighed.is_some() && batch.discarded.is_some() {
        return Err(one(
            at("residue_g"),
            "a discarded batch has no residue: all of it was thrown away".to_owned(),
        ));
    }
    if let Some(residue) = weighed {
        check_weighing(residue.to_f64(), total.to_f64(), 0.0)
            .map_err(|e| one(at("residue_g"), e.to_string()))?;
    }
    let film_g = cup.film_of_mix(total.to_f64()).map(|film| film.film_g);
    let film_g = film_g.map_err(|e| {
        one(
            at("base_g"),
            format!("{total} g in all does not fit the cup: {e}"),
        )
    })?;
    let shown = |value: f64| rounded(value).map_err(|e| one(at("residue_g"), e.to_string()));
    let stirrer_loss = facts.recipe.body.stirrer_loss_g().min(total);
    let residue = match (batch.discarded.is_some(), weighed) {
        (true, _) => Micro::ZERO,
        (false, Some(residue)) if batch.stirrer_in_weighing => residue,
        (false, Some(residue)) => residue
            .checked_add(stirrer_loss)
            .map_err(|e| one(at("residue_g"), e.to_string()))?
            .min(total),
        (false, None) => {
            shown((film_g * posterior.mean.max(0.0) + stirrer_loss.to_f64()).min(total.to_f64()))?
        }
    };
    let residue_base = residue
        .mul_div_half_even(batch.base_g.micro(), total.micro())
        .map_err(|e| one(at("residue_g"), e.to_string()))?;
    Ok(PouredBatch {
        no: i32::try_from(index + 1).unwrap_or(i32::MAX),
        containers: 0,
        base_g: batch.base_g,
        curing_agent_g: batch.curing_agent_g,
        total_g: total,
        residue_g: residue,
        stirrer_loss_g: stirrer_loss.min(residue),
        residue_base_g: residue_base,
        residue_basis: if weighed.is_some() {
            "weighed"
        } else {
            "estimated"
        }
        .to_owned(),
        film_g: shown(film_g)?,
        z: None,
        outlier: false,
        discarded: batch.discarded.clone(),
        base_pack_id: batch.base_pack_id,
        curing_agent_pack_id: batch.curing_agent_pack_id,
    })
}

/// The residue as it was weighed: directly, or as the cup's gross less its tare; none when nothing was weighed.
fn weighed_residue(
    batch: &PourBatch,
    facts: &RecipeFacts,
    at: &dyn Fn(&str) -> String,
) -> Result<Option<Micro>, Vec<FieldError>> {
    let one = |field: &str, detail: String| Err(vec![FieldError::new(at(field), detail)]);
    match (batch.residue_g, batch.cup_gross_g) {
        (Some(_), Some(_)) => one(
            "cup_gross_g",
            "give either `residue_g` or `cup_gross_g`, not both".to_owned(),
        ),
        (Some(residue), None) => Ok(Some(residue)),
        (None, None) => match batch.cup_tare_g {
            Some(_) => one(
                "cup_gross_g",
                "`cup_tare_g` alone says nothing: give `cup_gross_g` too".to_owned(),
            ),
            None => Ok(None),
        },
        (None, Some(gross)) => {
            let tare = batch
                .cup_tare_g
                .or(facts.cup.body.tare_g.map(Quantity::value));
            let Some(tare) = tare else {
                return one(
                    "cup_tare_g",
                    format!(
                        "the cup `{}` has no tare of its own: give `cup_tare_g`",
                        facts.cup.code.as_str()
                    ),
                );
            };
            match gross.checked_sub(tare) {
                Ok(net) if net >= Micro::ZERO => Ok(Some(net)),
                _ => one(
                    "cup_gross_g",
                    format!("{gross} g gross is below the tare of {tare} g: check both weighings"),
                ),
            }
        }
    }
}
