//! Building the sheet of a cast from its plan, its snapshot of the catalogue and what it holds. Pure.
//!
//! Invariant: the work is laid out as one pair of hands does it, one step after the other; times that no recipe says are
//! assumptions of ours, below.

use std::collections::BTreeMap;

use super::clock::Anchors;
use super::drawing::{Drawing, Drawn};
use super::sheet::{BenchStep, HazardView, SheetStep, StepDetail};
use super::{cup_steps, steps};
use crate::base::{Error, Quantity};
use crate::casting::planning::bench_cautions::{cautions, step_cautions};
use crate::casting::planning::cure::{CureView, cure_cautions, cure_view};
use crate::casting::planning::mixing::HeadRoomView;
use crate::casting::planning::plan_view::{BatchView, CastPlan, LoadView};
use crate::casting::planning::request::PlanRequest;
use crate::casting::planning::sizing::{heat, rounded};
use crate::casting::sums::cautions::Caution;
use crate::casting::sums::hazards::hazard_line;
use crate::casting::sums::rounds::{copies_by_round, round_of_cast, taped_by_round};
use crate::catalogue::{Entry, MaterialBody, RecipeFacts};
use crate::stock::holdings::Holding;
use crate::stock::needs::Need;

/// Minutes to lay out what is used (*assumption*).
pub(super) const PREPARE_MIN: f64 = 10.0;
/// Minutes to tape one copy of the mould into a tray (*assumption*).
pub(super) const TAPE_MIN_PER_COPY: f64 = 5.0;
/// Minutes to weigh one batch (*assumption*).
pub(super) const WEIGH_MIN: f64 = 5.0;
/// Minutes to mix one batch (*assumption*).
pub(super) const MIX_MIN: f64 = 5.0;
/// Minutes to weigh the cup after pouring (*assumption*).
pub(super) const WEIGH_CUP_MIN: f64 = 1.0;
/// Minutes to demould one tray (*assumption*).
pub(super) const DEMOLD_MIN_PER_CONTAINER: f64 = 2.0;
/// Minutes to clear up (*assumption*).
pub(super) const WASTE_MIN: f64 = 10.0;

/// What a sheet is built from.
pub(super) struct SheetFacts<'a> {
    pub(super) request: &'a PlanRequest,
    pub(super) facts: &'a RecipeFacts,
    pub(super) plan: &'a CastPlan,
    /// What the cast holds; handed out to the steps while the cast is booked.
    pub(super) holdings: &'a [Holding],
    pub(super) needs: &'a [Need],
    pub(super) booked: bool,
    /// The coatings in their order, each before the cast of its copies that it is due for.
    pub(super) loads: Vec<LoadView>,
}

/// A step before the clock is laid on it.
pub(super) struct Draft {
    pub(super) step: BenchStep,
    pub(super) round: Option<u32>,
    pub(super) of_batch: Option<(i32, u32)>,
    pub(super) title: String,
    pub(super) starts_min: f64,
    pub(super) takes_min: f64,
    pub(super) pour_by_min: Option<f64>,
    pub(super) detail: StepDetail,
    pub(super) drawn: Drawn,
    pub(super) cautions: Vec<String>,
}

/// The steps as they are laid out, one after the other.
pub(super) struct Bench<'a> {
    pub(super) of: &'a SheetFacts<'a>,
    pub(super) drawing: Drawing<'a>,
    pub(super) cure: CureView,
    cautions: Vec<Caution>,
    drafts: Vec<Draft>,
    now_min: f64,
    mixed_min: BTreeMap<i32, f64>,
}

/// What is known of a step when it is put on the bench.
pub(super) struct Work {
    pub(super) step: BenchStep,
    pub(super) round: Option<u32>,
    pub(super) title: String,
    pub(super) takes_min: f64,
    pub(super) detail: StepDetail,
    pub(super) drawn: Drawn,
    pub(super) cautions: Vec<String>,
}

impl<'a> Bench<'a> {
    /// Adds a step after the last one, with the cautions of its kind after its own.
    pub(super) fn put(&mut self, work: Work, batch: Option<&BatchView>) {
        let mut cautions = work.cautions;
        for missing in &work.drawn.missing {
            cautions.push(format!(
                "nothing is promised for {} of `{}`: the cast is short of it",
                missing.quantity, missing.material
            ));
        }
        if let Some(step) = work.step.of_cautions() {
            let of_step = self.cautions.iter().filter(|caution| caution.step == step);
            cautions.extend(of_step.map(|caution| caution.text.clone()));
        }
        let starts_min = self.now_min;
        self.now_min += work.takes_min;
        if let (BenchStep::Mix, Some(batch)) = (work.step, batch) {
            self.mixed_min.insert(batch.no, self.now_min);
        }
        let pots = matches!(
            work.step,
            BenchStep::Mix | BenchStep::Degas | BenchStep::Pour
        );
        let pot_life_min = self.of.facts.elastomer.body.pot_life_min.to_f64();
        let pour_by_min = batch
            .filter(|_| pots)
            .and_then(|batch| self.mixed_min.get(&batch.no))
            .map(|mixed_min| mixed_min + pot_life_min);
        self.drafts.push(Draft {
            step: work.step,
            round: work.round,
            of_batch: batch.map(|batch| (batch.no, batch.group)),
            title: work.title,
            starts_min,
            takes_min: work.takes_min,
            pour_by_min,
            detail: work.detail,
            drawn: work.drawn,
            cautions,
        });
    }
}

/// The steps of a cast, without the clock.
///
/// # Errors
/// [`Error::Internal`] when the plan that the cast keeps makes no sense with its recipe.
pub(super) fn lay_out<'a>(
    of: &'a SheetFacts<'a>,
    codes: &'a BTreeMap<i64, String>,
) -> Result<Laid, Error> {
    let plan = of.plan;
    let cure = plan
        .cure
        .clone()
        .map_or_else(|| cure_view(of.facts), |cure| Ok(Some(cure)))?;
    let cure = cure.ok_or_else(|| Error::internal("the elastomer of a cast has no cure"))?;
    let mut bench = Bench {
        of,
        drawing: Drawing::new(of.holdings, codes, of.booked),
        cure,
        cautions: step_cautions(of.facts, !of.loads.is_empty()),
        drafts: Vec::new(),
        now_min: 0.0,
        mixed_min: BTreeMap::new(),
    };
    let trays = trays_by_round(plan);
    let by_round = copies_by_round(&trays, of.facts.mold.body.copies()).map_err(Error::internal)?;
    let taped = taped_by_round(&by_round, of.facts.recipe.body.casts_per_setup())
        .map_err(Error::internal)?;
    steps::prepare(&mut bench, by_round.first().map_or(0, Vec::len));
    let mut tray_no = 0;
    for (round, copies) in (1..).zip(&by_round) {
        if let Some(taped) = taped
            .get(round as usize - 1)
            .filter(|taped| !taped.is_empty())
        {
            steps::tape(&mut bench, round, taped)?;
        }
        for load in &of.loads {
            if due_before(load, &by_round) == round {
                steps::coat(&mut bench, load, round)?;
            }
        }
        let mut places = copies.iter();
        for batch in plan.batches.iter().filter(|batch| batch.round == round) {
            let of_batch: Vec<u32> = places
                .by_ref()
                .take(batch.containers as usize)
                .copied()
                .collect();
            cup_steps::batch(&mut bench, batch, tray_no, &of_batch)?;
            tray_no += batch.containers;
        }
        steps::cure(&mut bench, round, copies)?;
        steps::demold(&mut bench, round, copies);
    }
    steps::waste(&mut bench, of.loads.iter().map(|load| load.vials).sum())?;
    Ok(Laid {
        total_min: bench.now_min,
        drafts: bench.drafts,
        mixed_min: bench.mixed_min,
    })
}

/// The steps as they were laid out.
pub(super) struct Laid {
    pub(super) drafts: Vec<Draft>,
    pub(super) total_min: f64,
    /// When the mixing of each batch ends, in minutes from the start.
    pub(super) mixed_min: BTreeMap<i32, f64>,
}

impl Laid {
    /// Lays the clock on the steps.
    ///
    /// # Errors
    /// [`Error::Invalid`] when times leave the range of quantities.
    pub(super) fn timed(self, anchors: &Anchors) -> Result<Vec<SheetStep>, Error> {
        (1..)
            .zip(self.drafts)
            .map(|(no, draft)| {
                let batch = draft.of_batch.map(|(batch, _)| batch);
                let clock = anchors.of(batch, draft.starts_min);
                Ok(SheetStep {
                    no,
                    step: draft.step,
                    round: draft.round,
                    group: draft.of_batch.map(|(_, group)| group),
                    batch,
                    title: draft.title,
                    starts_min: rounded(draft.starts_min)?,
                    takes_min: rounded(draft.takes_min)?,
                    starts_at: clock.at(draft.starts_min),
                    ends_at: clock.at(draft.starts_min + draft.takes_min),
                    pour_by_min: draft.pour_by_min.map(rounded).transpose()?,
                    pour_by: draft.pour_by_min.and_then(|minute| clock.at(minute)),
                    detail: draft.detail,
                    lots: draft.drawn.lots,
                    missing: draft.drawn.missing,
                    cautions: draft.cautions,
                })
            })
            .collect()
    }
}

/// The coatings of a plan; a plan that was kept without them has all of them before the first round.
pub(super) fn planned_loads(plan: &CastPlan) -> Vec<LoadView> {
    match &plan.release {
        Some(release) if release.loads.is_empty() && release.vials > 0 => vec![LoadView {
            before_round: 1,
            copies: Vec::new(),
            vials: release.vials,
        }],
        Some(release) => release.loads.clone(),
        None => Vec::new(),
    }
}

/// The round before which a load is coated: the first in which any of its copies has the cast it is due for. A copy that
/// sat out a round has it a round later, and is coated with the others all the same.
fn due_before(load: &LoadView, by_round: &[Vec<u32>]) -> u32 {
    load.copies
        .iter()
        .filter_map(|copy| round_of_cast(by_round, *copy, load.before_round))
        .min()
        .unwrap_or(load.before_round)
}

/// Trays of each round of a plan.
fn trays_by_round(plan: &CastPlan) -> Vec<u32> {
    let of_round = |round: u32| {
        let batches = plan.batches.iter().filter(|batch| batch.round == round);
        batches.map(|batch| batch.containers).sum()
    };
    (1..=plan.rounds).map(of_round).collect()
}

/// What the plan warned of apart from what stands at the steps.
pub(super) fn other_cautions(of: &SheetFacts<'_>) -> Result<Vec<String>, Error> {
    let mut placed = cautions(of.facts, true);
    placed.extend(cautions(of.facts, false));
    placed.extend(heat_cautions(of)?);
    placed.extend(of.plan.cure.iter().flat_map(cure_cautions));
    placed.extend(of.plan.head_room.iter().filter_map(HeadRoomView::caution));
    let others = of.plan.cautions.iter();
    Ok(others
        .filter(|caution| !placed.contains(caution))
        .cloned()
        .collect())
}

/// What is said of the heat of the cure against tray and mould.
pub(super) fn heat_cautions(of: &SheetFacts<'_>) -> Result<Vec<String>, Error> {
    // What was booked was allowed: a reason that was not needed then is not asked for now.
    let reason = of.request.heat_override_reason.as_deref().unwrap_or("");
    heat(of.facts, Some(reason))
}

/// The materials that a recipe names, each once.
pub(super) fn materials(facts: &RecipeFacts) -> Vec<&Entry<MaterialBody>> {
    let mut named: Vec<&Entry<MaterialBody>> = vec![
        &facts.base,
        &facts.curing_agent,
        &facts.container,
        &facts.cup,
    ];
    named.extend(facts.tape.iter().chain(&facts.release_agent));
    named.extend(facts.extras.iter().map(|(entry, _)| entry));
    let mut once: Vec<&Entry<MaterialBody>> = Vec::with_capacity(named.len());
    for entry in named {
        if !once.iter().any(|other| other.id == entry.id) {
            once.push(entry);
        }
    }
    once
}

/// The hazard statements of the materials, each with its GHS text.
pub(super) fn hazards(facts: &RecipeFacts) -> Vec<HazardView> {
    materials(facts)
        .into_iter()
        .filter(|entry| !entry.body.hazard_statements.is_empty())
        .map(|entry| HazardView {
            material: entry.code.to_string(),
            name: entry.name.clone(),
            statements: entry
                .body
                .hazard_statements
                .iter()
                .map(|code| hazard_line(code))
                .collect(),
        })
        .collect()
}

/// A count of pieces as a quantity.
pub(super) fn pieces(count: u32) -> Quantity {
    Quantity::from_int(i32::try_from(count).unwrap_or(i32::MAX))
}
