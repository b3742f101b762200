//! The steps of the sheet, one function for each kind of work. Pure.

use super::build::{
    Bench, DEMOLD_MIN_PER_CONTAINER, MIX_MIN, PREPARE_MIN, TAPE_MIN_PER_COPY, WASTE_MIN,
    WEIGH_CUP_MIN, WEIGH_MIN, Work, heat_cautions, pieces,
};
use super::drawing::{Drawn, Wanted};
use super::sheet::{
    BenchStep, CoatDetail, CumulativeReadings, CureDetail, DegasDetail, DemoldDetail, MixDetail,
    PartTarget, PourDetail, PouredTray, PrepareDetail, StepDetail, TapeDetail, TareAndGross,
    TareGross, WasteDetail, WeighCupDetail, WeighDetail,
};
use crate::base::{Error, Micro, Quantity};
use crate::casting::planning::coating::vials_quantity;
use crate::casting::planning::cure::cure_cautions;
use crate::casting::planning::geometry::vessel;
use crate::casting::planning::plan_view::{BatchView, LoadView};
use crate::casting::planning::sizing::{mass_ratio, rounded};
use crate::casting::sums::fill::foam_headroom;
use crate::casting::sums::learned::{OUTLIER_Z, RELATIVE_NOISE_SD};
use crate::casting::sums::release::{VAPOUR_MINUTES, VAPOUR_PRESSURE_TORR};
use crate::casting::sums::tape::{Along, cut_tape};
use crate::casting::sums::window::{Window, mix_windows};
use crate::catalogue::{Entry, MaterialBody, RecipeFacts};
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

/// The steps of one cup of mix: weigh, mix, de-gas, pour, weigh the cup.
pub(super) fn batch(
    bench: &mut Bench<'_>,
    batch: &BatchView,
    trays_before: u32,
    copies: &[u32],
) -> Result<(), Error> {
    weigh(bench, batch)?;
    let pot_life_min = bench.of.facts.elastomer.body.pot_life_min;
    let detail = MixDetail {
        total_g: batch.total_g,
        pour_by_min_after_mixing: pot_life_min,
    };
    let what = "mix, scraping wall and floor of the cup";
    let work = of_batch(
        bench,
        batch,
        (BenchStep::Mix, what, MIX_MIN),
        StepDetail::Mix(detail),
    );
    bench.put(work, Some(batch));
    degas(bench, batch)?;
    pour(bench, batch, trays_before, copies)?;
    weigh_cup(bench, batch)
}

/// The frame of a step of one batch.
fn of_batch(
    bench: &Bench<'_>,
    batch: &BatchView,
    (step, what, takes_min): (BenchStep, &str, f64),
    detail: StepDetail,
) -> Work {
    let plan = bench.of.plan;
    let grouped = plan.batches.iter().any(|other| other.group > 1);
    let group = match grouped {
        true => format!(", group {}", batch.group),
        false => String::new(),
    };
    Work {
        step,
        round: Some(batch.round),
        title: format!("Batch {} (round {}{group}): {what}", batch.no, batch.round),
        takes_min,
        detail,
        drawn: Drawn::default(),
        cautions: Vec::new(),
    }
}

fn target(entry: &Entry<MaterialBody>, window: &Window) -> Result<PartTarget, Error> {
    Ok(PartTarget {
        material: entry.code.to_string(),
        name: entry.name.clone(),
        target_g: rounded(window.target_g)?,
        min_g: rounded(window.min_g)?,
        max_g: rounded(window.max_g)?,
    })
}

/// The tare of the cup by the catalogue.
fn cup_tare(facts: &RecipeFacts) -> Option<Micro> {
    facts.cup.body.tare_g.map(Quantity::value)
}

fn weigh(bench: &mut Bench<'_>, batch: &BatchView) -> Result<(), Error> {
    let facts = bench.of.facts;
    let ratio = mass_ratio(facts)?;
    let tolerance = facts.elastomer.body.ratio_tolerance;
    let windows = mix_windows(
        batch.base_g.to_f64(),
        batch.curing_agent_g.to_f64(),
        ratio,
        tolerance.to_f64(),
        facts.recipe.body.balance_readability_g().to_f64(),
    )
    .map_err(Error::internal)?;
    let tare = cup_tare(facts);
    let from = tare.unwrap_or(Micro::ZERO);
    let after_base = from.checked_add(batch.base_g)?;
    let after_agent = after_base.checked_add(batch.curing_agent_g)?;
    let detail = WeighDetail {
        cup: facts.cup.code.to_string(),
        cup_tare_g: tare,
        tare_note: match tare {
            Some(tare) => format!("The empty cup weighs {tare} g by the catalogue: check it, and note what it really weighs."),
            None => "Weigh the empty cup first and note it; or set the balance to zero with the cup on it.".to_owned(),
        },
        base: target(&facts.base, &windows.base)?,
        curing_agent: target(&facts.curing_agent, &windows.curing_agent)?,
        total_g: batch.total_g,
        curing_agent_g_per_g_base: rounded(ratio.value().recip())?,
        ratio_tolerance: tolerance,
        reachable: windows.reachable,
        tare_and_gross: tare.map(|tare| TareAndGross {
            base: TareGross { tare_g: tare, gross_g: after_base },
            curing_agent: TareGross { tare_g: after_base, gross_g: after_agent },
        }),
        cumulative: CumulativeReadings {
            from_g: from,
            after_base_g: after_base,
            after_curing_agent_g: after_agent,
        },
    };
    let part = |entry: &Entry<MaterialBody>, purpose, quantity| Wanted {
        material_id: entry.id,
        purpose,
        batch_no: batch.no,
        quantity: Quantity::new(quantity),
    };
    let wanted = [
        Wanted {
            batch_no: 0,
            ..part(&facts.cup, Purpose::Cup, Micro::from_int(1))
        },
        part(&facts.base, Purpose::Base, batch.base_g),
        part(
            &facts.curing_agent,
            Purpose::CuringAgent,
            batch.curing_agent_g,
        ),
    ];
    let what = "weigh base, then curing agent";
    let mut work = of_batch(
        bench,
        batch,
        (BenchStep::Weigh, what, WEIGH_MIN),
        StepDetail::Weigh(detail),
    );
    work.drawn = bench.drawing.draw(&wanted);
    if !windows.reachable {
        work.cautions.push("the balance is too coarse to hold the ratio within its tolerance: use a finer one, or a larger batch".to_owned());
    }
    bench.put(work, Some(batch));
    Ok(())
}

fn degas(bench: &mut Bench<'_>, batch: &BatchView) -> Result<(), Error> {
    let facts = bench.of.facts;
    let cup = facts.cup.body.container.as_ref();
    let cup = cup.ok_or_else(|| Error::internal("the cup of a cast has no inside"))?;
    let capacity_ml = vessel(cup).capacity_ml().map_err(Error::internal)?;
    let mixed_ml = batch.total_g.to_f64() / facts.elastomer.body.density_g_per_ml.to_f64();
    let room =
        foam_headroom(capacity_ml, mixed_ml, cup.fill_limit().to_f64()).map_err(Error::internal)?;
    let detail = DegasDetail {
        vessel: facts.cup.code.to_string(),
        fraction_filled: rounded(room.fraction_filled)?,
        fill_limit: rounded(room.fill_limit)?,
        enough: room.enough,
    };
    let takes_min = facts.recipe.body.prep_min().to_f64();
    let what = "de-gas in the cup under vacuum";
    let mut work = of_batch(
        bench,
        batch,
        (BenchStep::Degas, what, takes_min),
        StepDetail::Degas(detail),
    );
    if !room.enough {
        work.cautions.push(format!(
            "the cup is filled to {:.0} % of its volume, more than the {:.0} % that leave room for the foam",
            100.0 * room.fraction_filled,
            100.0 * room.fill_limit
        ));
    }
    bench.put(work, Some(batch));
    Ok(())
}

fn pour(
    bench: &mut Bench<'_>,
    batch: &BatchView,
    trays_before: u32,
    copies: &[u32],
) -> Result<(), Error> {
    let (facts, plan) = (bench.of.facts, bench.of.plan);
    let recipe = &facts.recipe.body;
    let pot_life_min = facts.elastomer.body.pot_life_min;
    let pouring_min = f64::from(batch.containers) * recipe.pour_min_per_container().to_f64();
    let poured_min = recipe.prep_min().to_f64() + pouring_min;
    let drain_min = recipe.drain_time_s.to_f64() / 60.0;
    let borne_min = pot_life_min.to_f64() * (1.0 + 1e-9);
    let detail = PourDetail {
        containers: (trays_before + 1..)
            .zip(copies)
            .map(|(no, copy)| PouredTray { no, copy: *copy })
            .collect(),
        per_container_g: rounded(batch.needed_g.to_f64() / f64::from(batch.containers.max(1)))?,
        fill_g: plan.fill.mass_g,
        level_mm: plan.fill.level_mm,
        drain_time_s: recipe.drain_time_s,
        poured_min_after_mixing: rounded(poured_min)?,
        pour_by_min_after_mixing: pot_life_min,
        keeps_pot_life: poured_min <= borne_min,
    };
    let what = format!(
        "pour {} and drain the cup",
        trays_in_words(batch.containers)
    );
    let mut work = of_batch(
        bench,
        batch,
        (BenchStep::Pour, &what, pouring_min + drain_min),
        StepDetail::Pour(detail),
    );
    work.drawn = bench.drawing.draw(&[Wanted {
        material_id: facts.container.id,
        purpose: Purpose::Container,
        batch_no: 0,
        quantity: pieces(batch.containers),
    }]);
    if poured_min > borne_min {
        work.cautions.push(format!(
            "the last tray is poured {poured_min} min after mixing, but the mix pours for {pot_life_min} min only"
        ));
    } else if poured_min + drain_min > borne_min {
        work.cautions.push(format!(
            "draining ends after the pot life of {pot_life_min} min: the mix has thickened, and more of it stays in the cup"
        ));
    }
    bench.put(work, Some(batch));
    Ok(())
}

fn trays_in_words(trays: u32) -> String {
    match trays {
        1 => "1 tray".to_owned(),
        more => format!("{more} trays"),
    }
}

fn weigh_cup(bench: &mut Bench<'_>, batch: &BatchView) -> Result<(), Error> {
    let residue = &bench.of.plan.residue;
    let film_g = batch.film_g.to_f64();
    let expected_g = film_g * residue.k_mean.to_f64();
    let off_g = OUTLIER_Z * film_g * residue.k_sd.to_f64().hypot(RELATIVE_NOISE_SD);
    let tare = cup_tare(bench.of.facts);
    let expected = rounded(expected_g)?;
    let detail = WeighCupDetail {
        expected_residue_g: expected,
        planned_residue_g: batch.residue_g,
        doubtful_below_g: rounded((expected_g - off_g).max(0.0))?,
        doubtful_above_g: rounded((expected_g + off_g).min(batch.total_g.to_f64()))?,
        cup_tare_g: tare,
        expected_gross_g: tare.map(|tare| tare.checked_add(expected)).transpose()?,
    };
    let what = "weigh the cup with what stayed in it";
    let work = of_batch(
        bench,
        batch,
        (BenchStep::WeighCup, what, WEIGH_CUP_MIN),
        StepDetail::WeighCup(detail),
    );
    bench.put(work, Some(batch));
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
