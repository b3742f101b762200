//! The steps of a bench sheet in words.
//!
//! Invariants: the steps are the operation's, in its order; a caution that was said before keeps its words on the screen and
//! names the step on paper, and is ticked off where it was said first. Deliberately absent: what belongs to one kind of work
//! (`blocks`, `details`).

use std::collections::HashMap;

use chrono::{DateTime, Utc};

use super::advice::{Advice, advice};
use super::asked::Asked;
use super::blocks::{Block, More, Packs, blocks, more};
use super::clock::{Until, until};
use super::coat_form::{Coat, coat};
use super::details::notes;
use super::field::{Check, Input};
use super::keys::{coat_word, keys};
use super::ops::Weighed;
use super::progress::Progress;
use super::words::{Words, grams, minutes};
use crate::base::Error;
use crate::casting::bench::sheet::{BenchSheet, BenchStep, SheetStep, StepDetail};

/// A step as it is shown.
pub(super) struct Step {
    /// Its number.
    pub(super) no: u32,
    /// Whether it belongs to a batch after the first: paper then leaves out what the first says.
    pub(super) later: bool,
    /// What is done, with the box that ticks it off.
    pub(super) tick: Check,
    /// Whether it was recorded, so that it cannot be ticked any more.
    pub(super) recorded: bool,
    /// Whether it is the next that waits.
    pub(super) next: bool,
    /// Whether the pour is recorded after it.
    pub(super) pours: bool,
    /// Whether the chips are counted after it.
    pub(super) counts: bool,
    /// When, or how long it takes.
    pub(super) when: String,
    /// Until when it must be poured, or how long it pours.
    pub(super) pot_life: Option<String>,
    /// What is left of that, or of the cure, once it runs.
    pub(super) until: Option<Until>,
    /// The masses to reach, with their fields.
    pub(super) blocks: Vec<Block>,
    /// When its mixing ended, in the step that mixes: the field, and the batch whose mixing may end now.
    pub(super) mixed: Option<(Input, Option<usize>)>,
    /// What is rarely said of its batch, in the step that weighs the cup.
    pub(super) more: Option<More>,
    /// What else is to know.
    pub(super) notes: Vec<String>,
    /// What to take from.
    pub(super) lots: Vec<String>,
    /// What nothing is promised for.
    pub(super) missing: Vec<String>,
    /// What to look out for.
    pub(super) cautions: Vec<Caution>,
    /// On paper: the steps that said some of them before.
    pub(super) echo: Option<String>,
    /// The form of a coat that was made before the pour, in a step that coats.
    pub(super) coat: Option<Coat>,
    /// The answer to what the balance shows, in a step that weighs the parts of a booked cast.
    pub(super) balance: Option<Balance>,
}

/// A caution, with its box where it is said first, or the step that said it before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Caution {
    /// Its words.
    pub(super) says: String,
    /// The number of the earlier step.
    pub(super) again: Option<u32>,
    /// The box that ticks it off.
    pub(super) seen: Option<Check>,
}

/// What is answered to the balance.
pub(super) struct Balance {
    /// The batch, from 1.
    pub(super) batch: usize,
    /// How much curing agent belongs to the base that was weighed.
    pub(super) curing_agent: Option<String>,
    /// What to do.
    pub(super) advice: Option<Advice>,
    /// Why there is no advice.
    pub(super) refused: Option<String>,
}

/// What the steps are made of.
pub(super) struct Facts<'a> {
    /// The sheet.
    pub(super) sheet: &'a BenchSheet,
    /// What was typed and ticked.
    pub(super) asked: &'a Asked,
    /// What is known of each batch.
    pub(super) weighed: &'a [Weighed],
    /// The batches that are mixed.
    pub(super) mixed: &'a [(i32, DateTime<Utc>)],
    /// The packs to choose from, for whoever may record the pour.
    pub(super) packs: Option<&'a Packs>,
    /// How far the work is.
    pub(super) progress: &'a Progress,
    /// What is wrong with the record of a coat, by the place of the coat among the coats.
    pub(super) coat_fault: Option<(usize, String)>,
    /// The instant.
    pub(super) now: DateTime<Utc>,
}

impl Facts<'_> {
    fn is_mixed(&self, batch: Option<i32>) -> bool {
        self.mixed.iter().any(|(mixed, _)| Some(*mixed) == batch)
    }

    /// What was typed, while there is something to type.
    fn open(&self) -> Option<&Asked> {
        (self.sheet.state == "booked").then_some(self.asked)
    }
}

/// The place of a step's batch among the batches, from 0.
fn place(step: &SheetStep) -> usize {
    let batch = step.batch.and_then(|batch| usize::try_from(batch).ok());
    batch.map_or(0, |batch| batch.saturating_sub(1))
}

/// The steps of a sheet.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range.
pub(super) fn steps(of: &Facts<'_>, words: &Words<'_>) -> Result<Vec<Step>, Error> {
    let mut said: HashMap<&str, u32> = HashMap::new();
    let mut found = Vec::with_capacity(of.sheet.steps.len());
    let mut coats = 0;
    for ((at, step), name) in of.sheet.steps.iter().enumerate().zip(keys(&of.sheet.steps)) {
        let recorded = of.progress.is_recorded(at);
        let cautions: Vec<Caution> = step
            .cautions
            .iter()
            .zip(1..)
            .map(|(says, nth)| {
                let first = *said.entry(says).or_insert(step.no);
                let again = (first != step.no).then_some(first);
                let shown = caution(of.asked, says, again, format!("{name}-{nth}"));
                // What was recorded is not ticked off any more, and nothing is said of whether it was.
                match recorded {
                    true => Caution {
                        seen: None,
                        ..shown
                    },
                    false => shown,
                }
            })
            .collect();
        found.push(Step {
            no: step.no,
            later: step.batch.is_some_and(|batch| batch > 1),
            tick: Check::of(of.asked, "done", name.clone(), step.title.clone()),
            recorded,
            next: of.progress.next == Some(at),
            pours: of.progress.poured == at,
            counts: of.progress.counted == at,
            when: when(step, words),
            pot_life: pot_life(step, words),
            until: left(of, step).filter(|_| !recorded),
            echo: echo(&cautions),
            cautions,
            blocks: blocks(&step.detail, words, of.open(), place(step)),
            mixed: mixed(of, step, words),
            more: match (&step.detail, of.open(), of.packs) {
                (StepDetail::WeighCup(_), Some(asked), Some(packs)) => {
                    Some(more(asked, place(step), packs))
                }
                _ => None,
            },
            notes: notes(&step.detail, words),
            lots: step.lots.iter().map(|lot| words.lot(lot)).collect(),
            missing: step
                .missing
                .iter()
                .map(|lack| {
                    let much = words.of_material(lack.quantity, &lack.material);
                    format!("{much} of {}", words.name(&lack.material))
                })
                .collect(),
            balance: balance(of, step, words)?,
            coat: coat_of(of, step, words, &mut coats),
        });
    }
    Ok(found)
}

/// A caution with its box, where no earlier step said it; `value` is where it stands.
pub(super) fn caution(asked: &Asked, says: &str, again: Option<u32>, value: String) -> Caution {
    let seen = Check::of(asked, "seen", value, says);
    Caution {
        says: says.to_owned(),
        seen: again.is_none().then_some(seen),
        again,
    }
}

/// The form of a coat, for whoever may record it; `coats` counts them.
fn coat_of(of: &Facts<'_>, step: &SheetStep, words: &Words<'_>, coats: &mut usize) -> Option<Coat> {
    let StepDetail::ReleaseCoat(detail) = &step.detail else {
        return None;
    };
    let place = *coats;
    *coats += 1;
    let (asked, _) = (of.open()?, of.packs?);
    let today = of.now.with_timezone(&words.zone).date_naive();
    let fault = of.coat_fault.as_ref().filter(|(at, _)| *at == place);
    let fault = fault.map(|(_, fault)| fault.clone());
    let named = (coat_word(&detail.copies), detail);
    Some(coat(asked, place, named, today, fault))
}

/// The answer to the balance.
fn balance(of: &Facts<'_>, step: &SheetStep, words: &Words<'_>) -> Result<Option<Balance>, Error> {
    let (StepDetail::Weigh(detail), Some(_)) = (&step.detail, of.open()) else {
        return Ok(None);
    };
    let known = of.weighed.get(place(step)).cloned().unwrap_or_default();
    let ratio = (detail.base_g_per_g_curing_agent()?, detail.ratio_tolerance);
    Ok(Some(Balance {
        batch: place(step) + 1,
        curing_agent: known.curing_agent_g.map(|mass| grams(mass, words.places)),
        advice: known
            .correction
            .as_ref()
            .map(|correction| advice(correction, ratio, words.places)),
        refused: known.refused,
    }))
}

/// The field for the end of the mixing: a time of the day of the cast, or with its day where that is another.
fn mixed(of: &Facts<'_>, step: &SheetStep, words: &Words<'_>) -> Option<(Input, Option<usize>)> {
    let asked = (of.sheet.state != "demolded").then_some(of.asked)?;
    let place = matches!(step.step, BenchStep::Mix).then(|| place(step))?;
    let label = "Mixing ended at";
    let input = Input::of(asked, "mixed_at", place, label);
    let today = of.now.with_timezone(&words.zone).date_naive();
    let other_day = match input.value.as_str() {
        "" => today > words.on || step.round.is_some_and(|round| round > 1),
        typed => typed.contains('T'),
    };
    let kind = if other_day { "datetime-local" } else { "time" };
    Some((Input { kind, ..input }, of.open().map(|_| place + 1)))
}

/// What is left of the pot life of a batch that is mixed, or of the cure of its round.
fn left(of: &Facts<'_>, step: &SheetStep) -> Option<Until> {
    let at = match step.step {
        BenchStep::Mix | BenchStep::Degas | BenchStep::Pour => {
            step.pour_by.filter(|_| of.is_mixed(step.batch))
        }
        BenchStep::Cure => {
            let all = of.sheet.steps.iter();
            let mut of_round = all.filter(|other| other.round == step.round);
            let runs = of_round.any(|other| other.batch.is_some() && of.is_mixed(other.batch));
            step.ends_at.filter(|_| runs)
        }
        _ => None,
    };
    at.map(|at| until(at, of.now))
}

/// Where paper finds the cautions that are not repeated on it.
fn echo(cautions: &[Caution]) -> Option<String> {
    let mut steps: Vec<u32> = cautions.iter().filter_map(|of| of.again).collect();
    steps.sort_unstable();
    steps.dedup();
    let named: Vec<String> = steps.iter().map(u32::to_string).collect();
    let word = if named.len() == 1 { "step" } else { "steps" };
    (!named.is_empty()).then(|| format!("Take care as at {word} {}.", named.join(", ")))
}

fn when(step: &SheetStep, words: &Words<'_>) -> String {
    match (step.starts_at, step.ends_at) {
        (Some(from), Some(to)) if step.step == BenchStep::Cure => {
            format!("from {} until {}", words.clock(from), words.clock(to))
        }
        (Some(from), Some(to)) => words.span(from, to),
        _ => minutes(step.takes_min),
    }
}

fn pot_life(step: &SheetStep, words: &Words<'_>) -> Option<String> {
    let lasts = match &step.detail {
        StepDetail::Mix(detail) => detail.pour_by_min_after_mixing,
        StepDetail::Pour(detail) => detail.pour_by_min_after_mixing,
        StepDetail::Degas(_) => {
            let by = step.pour_by?;
            return Some(format!("Pour before {}", words.clock(by)));
        }
        _ => return None,
    };
    Some(match step.pour_by {
        Some(by) => format!(
            "Pour before {} (pot life {})",
            words.clock(by),
            minutes(lasts)
        ),
        None => format!("Pours for {} from the end of mixing", minutes(lasts)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paper_names_the_steps_that_said_a_caution_before() {
        let of = |again: &[Option<u32>]| {
            let asked = Asked::default();
            let caution =
                |again: &Option<u32>| caution(&asked, "Vent slowly.", *again, "7.1".to_owned());
            echo(&again.iter().map(caution).collect::<Vec<_>>())
        };
        assert_eq!(of(&[None]), None);
        assert_eq!(of(&[Some(3), Some(3)]).unwrap(), "Take care as at step 3.");
        assert_eq!(
            of(&[Some(5), None, Some(3)]).unwrap(),
            "Take care as at steps 3, 5."
        );
    }

    #[test]
    fn a_caution_is_ticked_off_where_it_is_said_first() {
        let asked = Asked::read("seen=3.1");
        let ticked = |again, value: &str| {
            let caution = caution(&asked, "Vent slowly.", again, value.to_owned());
            caution.seen.map(|seen| seen.ticked)
        };
        assert_eq!(ticked(None, "3.1"), Some(true));
        assert_eq!(ticked(None, "3.2"), Some(false));
        assert_eq!(ticked(Some(3), "5.1"), None);
    }
}
