//! A plan in words: its cups, its lots, what else it is, what it costs and who pays, and the same in other divisions into cups.
//!
//! Invariants: every figure is the plan's own, rounded for reading only; what is long is told in full, and what is alike once.
//! Deliberately absent: whether it can be cast (`help`).

use chrono::NaiveDate;

use super::asked::Asked;
use super::help::{Verdict, verdict};
use super::ops::{Choices, Planned};
use super::takes::{Cups, Passed, Take, cups, named, passed, places, takes};
use crate::base::{Error, Micro, Quantity};
use crate::casting::planning::plan_view::{CastPlan, LoadView, ReleaseView};
use crate::casting::planning::what_if::CupLine;
use crate::pages::bench_sheet::{grams, minutes};
use crate::pages::parts::{CostShown, cost_shown, expected_good};
use crate::pages::words::{amount, counted, day, money};

/// A plan as it is shown.
pub(super) struct PlanShown {
    /// Whether it can be cast.
    pub(super) verdict: Verdict,
    /// What a booking would book, such as `4 trays of Chip for Tue 10 Mar`.
    pub(super) about: String,
    /// The cups.
    pub(super) cups: Vec<Cups>,
    /// What else is to know, by name.
    pub(super) facts: Vec<(&'static str, String)>,
    /// The packs that give something.
    pub(super) takes: Vec<Take>,
    /// The packs that give nothing.
    pub(super) passed: Vec<Passed>,
    /// The packs that are empty then.
    pub(super) empties: Vec<String>,
    /// The cost.
    pub(super) cost: CostShown,
    /// Who pays what.
    pub(super) payers: Vec<String>,
    /// The same in other divisions into cups.
    pub(super) divisions: Vec<Division>,
    /// What to look out for.
    pub(super) cautions: Vec<String>,
}

/// The plan when a cup fills at most so many trays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Division {
    /// Most trays, in words.
    pub(super) trays: String,
    /// Where that plan is.
    pub(super) address: String,
    /// Whether it is this plan.
    pub(super) chosen: bool,
    /// Cups.
    pub(super) cups: u32,
    /// What is mixed.
    pub(super) mixed: String,
    /// What is allowed to stay in the cups.
    pub(super) residue: String,
    /// What a good chip costs; none when none is expected.
    pub(super) each: Option<String>,
    /// Whether the stock serves it.
    pub(super) in_stock: bool,
}

/// Shows a plan.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range.
pub(super) fn plan_shown(
    found: &Planned,
    asked: &Asked,
    grants: &Choices,
    today: NaiveDate,
) -> Result<PlanShown, Error> {
    let plan = &found.answer.plan;
    let places = places(found.readability_g);
    let currency = &plan.cost.currency;
    let charges = found.request.charges.iter().zip(&found.shares);
    let lines = found.answer.what_if.as_deref().unwrap_or_default();
    let empties = plan.empties.iter().map(|pack| {
        let name = named(&found.materials, &pack.material);
        match pack.whole_lot {
            true => format!("all of {name}, lot {}", pack.lot),
            false => format!("a pack of {name}, lot {}", pack.lot),
        }
    });
    Ok(PlanShown {
        verdict: verdict(found, asked, today),
        about: format!(
            "{} of {} for {}",
            counted(plan.containers, "tray", "trays"),
            found.recipe_name,
            day(plan.cast_on, today)
        ),
        cups: cups(plan, places),
        facts: facts(plan, places),
        takes: takes(plan, &found.materials)?,
        passed: passed(plan, &found.materials),
        empties: empties.collect(),
        cost: cost_shown(&plan.cost, expected_good(plan), None)?,
        payers: charges
            .map(|(charge, share)| {
                let code = charge.grant.as_str();
                let known = grants.iter().find(|(known, _)| known == code);
                let name = known.map_or(code, |(_, name)| name);
                format!(
                    "{name} ({code}): {} %, {}",
                    charge.share,
                    money(*share, currency)
                )
            })
            .collect(),
        divisions: match lines {
            [_, _, ..] => lines
                .iter()
                .map(|line| division(line, asked, (places, currency)))
                .collect(),
            _ => Vec::new(),
        },
        cautions: plan.cautions.clone(),
    })
}

fn division(line: &CupLine, asked: &Asked, (places, currency): (usize, &str)) -> Division {
    let most = line.containers_per_batch.to_string();
    Division {
        trays: counted(line.containers_per_batch, "tray", "trays"),
        address: asked.otherwise(&[("containers_per_batch", &most)]),
        chosen: line.chosen,
        cups: line.batches,
        mixed: grams(line.total_g, places),
        residue: grams(line.residue_g, places),
        each: line.per_good_chip.map(|each| money(each, currency)),
        in_stock: line.in_stock,
    }
}

fn plain(number: Micro) -> String {
    amount(Quantity::new(number), "each")
}

/// What else is to know of a plan, in the order of the work.
fn facts(plan: &CastPlan, places: usize) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        (
            "Good chips to expect",
            format!("{} of {}", plain(plan.expected_good_chips), plan.chips),
        ),
        (
            "Trays",
            format!(
                "{}, {} in each, filled {} mm high",
                plan.containers,
                grams(plan.fill.mass_g, places),
                plain(plan.fill.level_mm)
            ),
        ),
        ("Rounds", rounds(plan)),
        (
            "Mix",
            format!(
                "{}: {} of base, {} of curing agent",
                grams(plan.mix.total_g, places),
                grams(plan.mix.base_g, places),
                grams(plan.mix.curing_agent_g, places)
            ),
        ),
        ("Residue in the cups", residue(plan, places)),
    ];
    if let Some(tape) = &plan.tape {
        let strips = counted(tape.strips, "strip", "strips");
        let (long, all) = (plain(tape.strip_length_mm), plain(tape.total_m));
        facts.push(("Tape", format!("{strips} of {long} mm, {all} m in all")));
    }
    if let Some(release) = &plan.release {
        facts.push(("Release coats", coats(release)));
    }
    if let Some(cure) = &plan.cure {
        let at = plain(cure.temperature_c);
        facts.push(("Cure", format!("{} at {at} °C", minutes(cure.minutes))));
    }
    if let Some(day) = &plan.day {
        let mut says = format!(
            "the mould is busy for {}, the working day has {}",
            minutes(day.mold_minutes),
            minutes(day.working_minutes)
        );
        if !day.with.is_empty() {
            says.push_str(&format!("; with {}", day.with.join(", ")));
        }
        facts.push(("That day", says));
    }
    facts
}

fn rounds(plan: &CastPlan) -> String {
    let cups = plan.batches.len();
    let cups = counted(i64::try_from(cups).unwrap_or(i64::MAX), "cup", "cups");
    format!("{} on the copies of the mould, {cups} of mix", plan.rounds)
}

fn residue(plan: &CastPlan, places: usize) -> String {
    let found = &plan.residue;
    let basis = match found.observations {
        0 => "by the draining film, nothing is weighed yet".to_owned(),
        some => format!("learned from {}", counted(some, "weighing", "weighings")),
    };
    format!(
        "{} expected, {} allowed for (quantile {}); {basis}",
        grams(found.expected_g, places),
        grams(found.planned_g, places),
        found.quantile
    )
}

fn coats(release: &ReleaseView) -> String {
    if !release.needed {
        return "every mould is still coated".to_owned();
    }
    let when = |load: &LoadView| match load.before_round {
        1 => "before the cast".to_owned(),
        round => format!("before round {round}"),
    };
    let mut says = format!(
        "{} from {}",
        counted(release.coatings, "mould coated", "moulds coated"),
        counted(release.vials, "vial", "vials")
    );
    match release.loads.as_slice() {
        [] => {}
        [only] => says.push_str(&format!(", {}", when(only))),
        [first, ..] => {
            let loads = release.loads.len();
            says.push_str(&format!(", in {loads} loads, the first {}", when(first)));
        }
    }
    says
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coats_say_when_they_are_needed() {
        let load = |before_round| LoadView {
            before_round,
            copies: vec![1],
            vials: 1,
        };
        let mut release = ReleaseView {
            needed: false,
            vials: 2,
            coatings: 4,
            before_casting: true,
            during_casting: true,
            loads: vec![load(1), load(3)],
        };
        assert_eq!(coats(&release), "every mould is still coated");
        release.needed = true;
        assert_eq!(
            coats(&release),
            "4 moulds coated from 2 vials, in 2 loads, the first before the cast"
        );
        release.loads.remove(0);
        assert_eq!(
            coats(&release),
            "4 moulds coated from 2 vials, before round 3"
        );
    }
}
