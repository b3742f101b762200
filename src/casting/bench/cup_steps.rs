//! The steps of one cup of mix: weigh, mix, de-gas, pour, weigh the cup. Pure.

use super::build::{Bench, MIX_MIN, WEIGH_CUP_MIN, WEIGH_MIN, Work, pieces};
use super::drawing::{Drawn, Wanted};
use super::sheet::{
    BenchStep, CumulativeReadings, DegasDetail, MixDetail, PartTarget, PourDetail, PouredTray,
    StepDetail, TareAndGross, TareGross, WeighCupDetail, WeighDetail,
};
use crate::base::{Error, Micro, Quantity};
use crate::casting::planning::geometry::vessel;
use crate::casting::planning::mixing::{HeadRoomView, mass_ratio};
use crate::casting::planning::plan_view::BatchView;
use crate::casting::planning::sizing::rounded;
use crate::casting::sums::fill::foam_headroom;
use crate::casting::sums::learned::{OUTLIER_Z, RELATIVE_NOISE_SD};
use crate::casting::sums::window::{Window, mix_windows};
use crate::catalogue::{DegasIn, Entry, MaterialBody, RecipeFacts};
use crate::stock::needs::Purpose;

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
    match bench.of.facts.recipe.body.degas_in() {
        DegasIn::Cup => {
            degas(bench, batch)?;
            pour(bench, batch, trays_before, copies)?;
        }
        DegasIn::Container => {
            pour(bench, batch, trays_before, copies)?;
            degas(bench, batch)?;
        }
    }
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
        weighing: facts.recipe.body.weighing(),
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

/// How full the vessel is in which a batch is de-gassed.
fn head_room(bench: &Bench<'_>, batch: &BatchView) -> Result<HeadRoomView, Error> {
    let facts = bench.of.facts;
    let degas_in = facts.recipe.body.degas_in();
    if degas_in == DegasIn::Container {
        let planned = bench.of.plan.head_room.clone();
        return planned.ok_or_else(|| Error::internal("the tray of a cast has no head room"));
    }
    let cup = facts.cup.body.container.as_ref();
    let cup = cup.ok_or_else(|| Error::internal("the cup of a cast has no inside"))?;
    let capacity_ml = vessel(cup).capacity_ml().map_err(Error::internal)?;
    let mixed_ml = batch.total_g.to_f64() / facts.elastomer.body.density_g_per_ml.to_f64();
    let limit = cup.fill_limit();
    let room = foam_headroom(capacity_ml, mixed_ml, limit.to_f64()).map_err(Error::internal)?;
    Ok(HeadRoomView {
        degas_in,
        fraction_filled: rounded(room.fraction_filled)?,
        fill_limit: limit,
        enough: room.enough,
    })
}

fn degas(bench: &mut Bench<'_>, batch: &BatchView) -> Result<(), Error> {
    let facts = bench.of.facts;
    let room = head_room(bench, batch)?;
    let (vessel, what) = match room.degas_in {
        DegasIn::Cup => (&facts.cup, "de-gas in the cup under vacuum"),
        DegasIn::Container => (&facts.container, "de-gas in the trays under vacuum"),
    };
    let detail = DegasDetail {
        vessel: vessel.code.to_string(),
        room: room.clone(),
    };
    let takes_min = facts.recipe.body.prep_min().to_f64();
    let mut work = of_batch(
        bench,
        batch,
        (BenchStep::Degas, what, takes_min),
        StepDetail::Degas(detail),
    );
    work.cautions.extend(room.caution());
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
    let done_min = recipe.prep_min().to_f64() + pouring_min;
    let poured_min = match recipe.degas_in() {
        DegasIn::Cup => done_min,
        DegasIn::Container => pouring_min,
    };
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
        keeps_pot_life: done_min <= borne_min,
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
    if done_min > borne_min {
        work.cautions.push(format!(
            "pouring and de-gassing take {done_min} min after mixing, but the mix pours for {pot_life_min} min only"
        ));
    } else if done_min + drain_min > borne_min {
        work.cautions.push(format!(
            "draining ends after the pot life of {pot_life_min} min: the mix has thickened, and more of it stays in the cup"
        ));
    }
    bench.put(work, Some(batch));
    Ok(())
}

pub(super) fn trays_in_words(trays: u32) -> String {
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
