//! The steps of the sheet but for those of one cup of mix, one function for each kind of work. Pure.

use super::build::{
    Bench, DEMOLD_MIN_PER_CONTAINER, PREPARE_MIN, TAPE_MIN_PER_COPY, WASTE_MIN, Work, heat_cautions,
};
use super::cup_steps::trays_in_words;
use super::drawing::{Drawn, Wanted};
use super::sheet::{
    BenchStep, CoatDetail, CureDetail, DemoldDetail, PrepareDetail, StepDetail, TapeDetail,
    WasteDetail,
};
use crate::base::{Error, Quantity};
use crate::casting::planning::coating::vials_quantity;
use crate::casting::planning::cure::cure_cautions;
use crate::casting::planning::plan_view::LoadView;
use crate::casting::planning::sizing::rounded;
use crate::casting::sums::release::{VAPOUR_MINUTES, VAPOUR_PRESSURE_TORR};
use crate::casting::sums::tape::{Along, cut_tape};
use crate::stock::needs::Purpose;

fn in_words(copies: &[u32]) -> String {
    let words: Vec<String> = copies.iter().map(u32::to_string).collect();
    match copies.len() {
        1 => format!("copy {}", words[0]),
        _ => format!("copies {}", words.join(", ")),
    }
}

/// Laying out what is used, with the extras of the recipe.
pub(super) fn prepare(bench: &mut Bench<'_>, copies: usize) {
    let extras: Vec<Wanted> = bench
        .of
        .needs
        .iter()
        .filter(|need| need.purpose == Purpose::Sundry)
        .map(|need| Wanted {
            material_id: need.material_id,
            purpose: need.purpose,
            batch_no: need.batch_no,
            quantity: need.quantity,
        })
        .collect();
    let (facts, plan) = (bench.of.facts, bench.of.plan);
    let drawn = bench.drawing.draw(&extras);
    let detail = PrepareDetail {
        container: facts.container.code.to_string(),
        containers: plan.containers,
        cup: facts.cup.code.to_string(),
        cups: plan.batches.len() as u32,
        copies: copies as u32,
    };
    let work = Work {
        step: BenchStep::Prepare,
        round: None,
        title: "Lay out trays, cups, moulds and what else is used".to_owned(),
        takes_min: PREPARE_MIN,
        detail: StepDetail::Prepare(detail),
        drawn,
        cautions: Vec::new(),
    };
    bench.put(work, None);
}

/// Taping some copies before a round; nothing when the recipe has no tape.
pub(super) fn tape(bench: &mut Bench<'_>, round: u32, copies: &[u32]) -> Result<(), Error> {
    let facts = bench.of.facts;
    let Some((entry, tape)) = facts
        .tape
        .as_ref()
        .and_then(|entry| Some((entry, entry.body.tape.as_ref()?)))
    else {
        return Ok(());
    };
    let (mold, recipe) = (&facts.mold.body, &facts.recipe.body);
    let cut = cut_tape(
        mold.length_mm.to_f64(),
        mold.width_mm.to_f64(),
        tape.width_mm.to_f64(),
        recipe.trim_allowance_mm().to_f64(),
    )
    .map_err(Error::internal)?;
    let strips = cut.strips * copies.len() as u32;
    let strip = Quantity::new(rounded(cut.strip_length_mm / 1000.0)?);
    let total = strip.mul_div_half_even(i64::from(strips), 1)?;
    let drawn = bench.drawing.draw(&[Wanted {
        material_id: entry.id,
        purpose: Purpose::Tape,
        batch_no: 0,
        quantity: total,
    }]);
    let detail = TapeDetail {
        copies: copies.to_vec(),
        strips_per_copy: cut.strips,
        strips,
        strip_length_mm: rounded(cut.strip_length_mm)?,
        along: match cut.along {
            Along::Length => "length",
            Along::Width => "width",
        }
        .to_owned(),
        total_m: total.value(),
        offcut_share: rounded(cut.offcut_share)?,
    };
    let work = Work {
        step: BenchStep::Tape,
        round: Some(round),
        title: format!(
            "Round {round}: tape {} into the trays, {} strips each, butted side by side",
            in_words(copies),
            cut.strips
        ),
        takes_min: TAPE_MIN_PER_COPY * copies.len() as f64,
        detail: StepDetail::Tape(detail),
        drawn,
        cautions: Vec::new(),
    };
    bench.put(work, None);
    Ok(())
}

/// Coating the copies that are due before a round.
pub(super) fn coat(bench: &mut Bench<'_>, load: &LoadView, round: u32) -> Result<(), Error> {
    let Some(agent) = &bench.of.facts.release_agent else {
        return Ok(());
    };
    let drawn = bench.drawing.draw(&[Wanted {
        material_id: agent.id,
        purpose: Purpose::Release,
        batch_no: 0,
        quantity: vials_quantity(bench.of.facts, load.vials)?,
    }]);
    let due = match load.copies.as_slice() {
        [] => "the copies that are due".to_owned(),
        copies => in_words(copies),
    };
    let detail = CoatDetail {
        molds: load.copies.len() as u32,
        copies: load.copies.clone(),
        before_round: round,
        vials: load.vials,
        vapour_min: rounded(VAPOUR_MINUTES)?,
        pressure_min_torr: rounded(VAPOUR_PRESSURE_TORR.0)?,
        pressure_max_torr: rounded(VAPOUR_PRESSURE_TORR.1)?,
        note: "Common practice, without a source: about 15 minutes at 0.1 to 0.01 Torr.".to_owned(),
    };
    let work = Work {
        step: BenchStep::ReleaseCoat,
        round: Some(round),
        title: format!("Before round {round}: coat {due}"),
        takes_min: VAPOUR_MINUTES,
        detail: StepDetail::ReleaseCoat(detail),
        drawn,
        cautions: Vec::new(),
    };
    bench.put(work, None);
    Ok(())
}

/// Curing the trays of a round.
pub(super) fn cure(bench: &mut Bench<'_>, round: u32, copies: &[u32]) -> Result<(), Error> {
    let trays = copies.len() as u32;
    let oven_containers = bench.of.facts.recipe.body.oven_containers;
    let oven_runs = oven_containers.map_or(1, |most| trays.div_ceil(most.max(1)));
    let cure = bench.cure.clone();
    let mut cautions = heat_cautions(bench.of)?;
    cautions.extend(cure_cautions(&cure));
    let title = format!(
        "Round {round}: cure {} at {} C for {} min{}",
        trays_in_words(trays),
        cure.temperature_c,
        cure.minutes,
        match oven_runs {
            1 => String::new(),
            runs => format!(", in {runs} runs of the oven"),
        }
    );
    let work = Work {
        step: BenchStep::Cure,
        round: Some(round),
        title,
        takes_min: f64::from(oven_runs) * cure.minutes.to_f64(),
        detail: StepDetail::Cure(CureDetail {
            cure,
            containers: trays,
            oven_containers,
            oven_runs,
            heat_override_reason: bench.of.request.heat_override_reason.clone(),
        }),
        drawn: Drawn::default(),
        cautions,
    };
    bench.put(work, None);
    Ok(())
}

/// Taking the chips of a round off.
pub(super) fn demold(bench: &mut Bench<'_>, round: u32, copies: &[u32]) {
    let trays = copies.len() as u32;
    let chips = trays * bench.of.facts.mold.body.chips;
    let work = Work {
        step: BenchStep::Demold,
        round: Some(round),
        title: format!(
            "Round {round}: demould {}, count {chips} chips",
            trays_in_words(trays)
        ),
        takes_min: DEMOLD_MIN_PER_CONTAINER * f64::from(trays),
        detail: StepDetail::Demold(DemoldDetail {
            containers: trays,
            copies: copies.to_vec(),
            chips,
        }),
        drawn: Drawn::default(),
        cautions: Vec::new(),
    };
    bench.put(work, None);
}

/// Clearing up.
pub(super) fn waste(bench: &mut Bench<'_>, vials: u32) -> Result<(), Error> {
    let plan = bench.of.plan;
    let trim_g = plan.fill.mass_g.to_f64() - plan.fill.chip_g.to_f64();
    let work = Work {
        step: BenchStep::Waste,
        round: None,
        title: "Clear up: cured trim and residue, spent vials".to_owned(),
        takes_min: WASTE_MIN,
        detail: StepDetail::Waste(WasteDetail {
            trim_g: rounded(trim_g.max(0.0) * f64::from(plan.containers))?,
            residue_g: plan.residue.expected_g,
            vials,
        }),
        drawn: Drawn::default(),
        cautions: Vec::new(),
    };
    bench.put(work, None);
    Ok(())
}
