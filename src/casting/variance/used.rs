//! The quantities behind the components of a cast: as the plan has them, and as the pour was recorded. Pure.
//!
//! Elastomer is divided by the rule that divides its cost, so that a pour exactly as planned has the planned quantities.

use super::split::Used;
use crate::base::{Error, Quantity, Unit};
use crate::casting::cost::Component;
use crate::casting::life::pour_input::PouredBatch;
use crate::casting::planning::plan_view::{CastPlan, FillView};
use crate::casting::planning::sizing::rounded;
use crate::casting::sums::split::{MixShares, split_mix};
use crate::stock::needs::Purpose;

/// What was planned for a cast and what was done.
#[derive(Debug, Clone)]
pub struct CastDone<'a> {
    /// The plan that the cast keeps.
    pub plan: &'a CastPlan,
    /// The batches as they were weighed.
    pub batches: &'a [PouredBatch],
    /// Trays poured.
    pub containers: u32,
    /// Vials used to coat for it.
    pub vials: u32,
    /// Tape taken, in m.
    pub tape: Quantity,
    /// The lots it took from, by what for: each lot code once.
    pub lots: Vec<(Purpose, String)>,
}

/// Grams of chip, trim, overfill (with what was discarded) and residue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Masses {
    /// What became chips.
    pub chip: Quantity,
    /// What went beside the mould.
    pub trim: Quantity,
    /// What went beyond the trays' need, with batches that were discarded.
    pub overfill: Quantity,
    /// What stayed in the cups.
    pub residue: Quantity,
}

impl Masses {
    /// Adds a batch, each of its masses rounded to the millionth of a gram.
    fn add(&mut self, shares: &MixShares) -> Result<(), Error> {
        let sum = |to: &mut Quantity, grams: f64| -> Result<(), Error> {
            *to = to.checked_add(Quantity::new(rounded(grams)?))?;
            Ok(())
        };
        sum(&mut self.chip, shares.chip_g)?;
        sum(&mut self.trim, shares.trim_g)?;
        sum(&mut self.overfill, shares.overfill_g + shares.discarded_g)?;
        sum(&mut self.residue, shares.residue_g)
    }
}

/// Divides a batch of `containers` trays by the fill of one.
fn divided(
    fill: &FillView,
    containers: u32,
    total_g: f64,
    residue_g: f64,
) -> Result<MixShares, Error> {
    let trays = f64::from(containers);
    let (chip_g, fill_g) = (fill.chip_g.to_f64(), fill.mass_g.to_f64());
    split_mix(
        chip_g * trays,
        (fill_g - chip_g) * trays,
        total_g,
        residue_g,
    )
    .map_err(Error::internal)
}

/// Grams of elastomer as planned.
///
/// # Errors
/// [`Error::Internal`] for a plan that mixes less than stays in the cup.
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
/// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// use heeltap::casting::variance::used::planned_masses;
/// let masses = planned_masses(&plan)?;
/// assert_eq!(masses.chip.micro(), 2 * plan.fill.chip_g.micro());
/// assert_eq!(masses.residue.micro(), plan.batches[0].residue_g.micro());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn planned_masses(plan: &CastPlan) -> Result<Masses, Error> {
    let mut masses = Masses::default();
    for batch in &plan.batches {
        let (total_g, residue_g) = (batch.total_g.to_f64(), batch.residue_g.to_f64());
        masses.add(&divided(&plan.fill, batch.containers, total_g, residue_g)?)?;
    }
    Ok(masses)
}

/// Grams of elastomer as they were weighed: `fill` is that of a tray in the plan.
///
/// # Errors
/// [`Error::Internal`] for a batch of which more stayed than was mixed.
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
/// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// use heeltap::casting::life::pour_input::PouredBatch;
/// use heeltap::casting::variance::used::poured_masses;
/// let batch = r#"{"no": 1, "containers": 0, "base_g": "40", "curing_agent_g": "4", "total_g": "44", "residue_g": "0",
///     "residue_base_g": "0", "residue_basis": "estimated", "film_g": "4", "discarded": "dust in it"}"#;
/// let batch: PouredBatch = serde_json::from_str(batch).unwrap();
/// assert_eq!(poured_masses(&plan.fill, &[batch])?.overfill.to_string(), "44");
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn poured_masses(fill: &FillView, batches: &[PouredBatch]) -> Result<Masses, Error> {
    let mut masses = Masses::default();
    for batch in batches {
        let total_g = batch.total_g.to_f64();
        let shares = if batch.discarded.is_some() {
            MixShares::discarded(total_g).map_err(Error::internal)?
        } else {
            divided(fill, batch.containers, total_g, batch.residue_g.to_f64())?
        };
        masses.add(&shares)?;
    }
    Ok(masses)
}

/// What the plan picked for a purpose; none when it found no stock (a need is served in full or not at all).
fn picked(plan: &CastPlan, purpose: Purpose) -> Result<Option<Quantity>, Error> {
    let mut picks = plan
        .picks
        .iter()
        .filter(|p| p.purpose == purpose)
        .peekable();
    if picks.peek().is_none() {
        return Ok(None);
    }
    Ok(Some(Quantity::checked_sum(picks.map(|p| p.quantity))?))
}

/// Whether the plan found base and curing agent for every batch.
fn mix_priced(plan: &CastPlan) -> bool {
    plan.batches.iter().all(|batch| {
        [Purpose::Base, Purpose::CuringAgent].iter().all(|purpose| {
            let mut picks = plan.picks.iter();
            picks.any(|pick| pick.purpose == *purpose && pick.batch == batch.no)
        })
    })
}

fn pieces(count: usize) -> Result<Quantity, Error> {
    i32::try_from(count)
        .map(Quantity::from_int)
        .map_err(Error::internal)
}

/// The quantity behind a component; none where there is none (extras of several kinds, a recipe without tape or coats).
///
/// Elastomer is in g, tape in m, trays and cups in pieces. Coats and the mould's own cost are counted in trays cast, since
/// each tray takes one share of them.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of quantities; [`Error::Internal`] as [`poured_masses`].
///
/// ```
/// # use heeltap::casting::planning::plan::{PlanFacts, plan};
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// # let request = r#"{"recipe": "chip", "containers": 2, "cast_on": "2026-03-02"}"#;
/// # let plan = plan(&facts, &serde_json::from_str(request).unwrap())?.view;
/// use heeltap::base::Quantity;
/// use heeltap::casting::cost::Component;
/// use heeltap::casting::variance::used::{CastDone, used};
/// let done = CastDone { plan: &plan, batches: &[], containers: 1, vials: 0, tape: Quantity::ZERO, lots: vec![] };
/// let trays = used(&done, Component::Container)?.unwrap();
/// assert_eq!((trays.planned, trays.actual), (Quantity::from_int(2), Quantity::from_int(1)));
/// assert!(!trays.priced, "the plan found no trays in stock");
/// assert_eq!(used(&done, Component::Sundries)?, None);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn used(done: &CastDone<'_>, component: Component) -> Result<Option<Used>, Error> {
    let plan = done.plan;
    let mass = |of: fn(&Masses) -> Quantity| -> Result<Used, Error> {
        Ok(Used {
            unit: Unit::G,
            planned: of(&planned_masses(plan)?),
            actual: of(&poured_masses(&plan.fill, done.batches)?),
            priced: mix_priced(plan),
        })
    };
    let counted = |planned: usize, actual: usize, priced: bool| -> Result<Used, Error> {
        Ok(Used {
            unit: Unit::Each,
            planned: pieces(planned)?,
            actual: pieces(actual)?,
            priced,
        })
    };
    let trays = |priced| counted(plan.containers as usize, done.containers as usize, priced);
    Ok(Some(match component {
        Component::Chip => mass(|masses| masses.chip)?,
        Component::Trim => mass(|masses| masses.trim)?,
        Component::Overfill => mass(|masses| masses.overfill)?,
        Component::Residue => mass(|masses| masses.residue)?,
        Component::Container => trays(picked(plan, Purpose::Container)?.is_some())?,
        Component::Mold => trays(true)?,
        Component::Cup => {
            let priced = picked(plan, Purpose::Cup)?.is_some();
            counted(plan.batches.len(), done.batches.len(), priced)?
        }
        Component::Release => match &plan.release {
            None => return Ok(None),
            Some(coats) => trays(coats.vials == 0 || picked(plan, Purpose::Release)?.is_some())?,
        },
        Component::Tape => match &plan.tape {
            None => return Ok(None),
            Some(tape) => {
                let planned = picked(plan, Purpose::Tape)?;
                Used {
                    unit: Unit::M,
                    planned: planned.unwrap_or(Quantity::new(tape.total_m)),
                    actual: done.tape,
                    priced: planned.is_some(),
                }
            }
        },
        Component::Sundries => return Ok(None),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fill() -> FillView {
        serde_json::from_str(
            r#"{"level_mm": "5", "volume_ml": "48", "mass_g": "50", "chip_g": "30", "basis": "geometry", "factor": "1"}"#,
        )
        .unwrap()
    }

    fn batch(containers: u32, total_g: &str, residue_g: &str, discarded: bool) -> PouredBatch {
        let mut batch: PouredBatch = serde_json::from_value(serde_json::json!({
            "no": 1, "containers": containers, "base_g": total_g, "curing_agent_g": "0", "total_g": total_g,
            "residue_g": residue_g, "residue_base_g": residue_g, "residue_basis": "weighed", "film_g": "4",
        }))
        .unwrap();
        batch.discarded = discarded.then(|| "dust".to_owned());
        batch
    }

    #[track_caller]
    fn check(batches: &[PouredBatch], expected: [&str; 4]) {
        let found = poured_masses(&fill(), batches).unwrap();
        let shown = [found.chip, found.trim, found.overfill, found.residue];
        assert_eq!(shown.map(|mass| mass.to_string()), expected);
    }

    #[test]
    fn masses_by_hand() {
        check(&[batch(1, "60", "6", false)], ["30", "20", "4", "6"]);
        // Too little was poured: chip and trim share what there was.
        check(&[batch(1, "46", "6", false)], ["24", "16", "0", "6"]);
        // A discarded batch is overfill; so is what fills no tray of its own.
        let batches = [
            batch(0, "44", "0", true),
            batch(2, "110", "6", false),
            batch(0, "10", "1", false),
        ];
        check(&batches, ["60", "40", "57", "7"]);
        check(&[], ["0", "0", "0", "0"]);
    }
}
