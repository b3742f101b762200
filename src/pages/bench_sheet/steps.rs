//! The steps of a bench sheet in words.
//!
//! Invariants: the steps are the operation's, in its order; a caution that was said before keeps its words on the screen and
//! names the step on paper; masses have the places of the balance. Deliberately absent: what belongs to one kind of work
//! (`details`).

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::advice::{Advice, advice};
use super::asked::{Asked, Kept, Readings};
use super::details::{Mass, masses, notes};
use super::ops::{Names, Weighed};
use crate::base::{Error, Micro, Quantity, round_half_even_div};
use crate::casting::bench::sheet::{BenchSheet, BenchStep, SheetLot, SheetStep, StepDetail};
use crate::pages::words::{amount, day};

/// A step as it is shown.
pub(super) struct Step {
    /// Its number.
    pub(super) no: u32,
    /// Whether it belongs to a batch after the first: paper then leaves out what the first says.
    pub(super) later: bool,
    /// What is done.
    pub(super) title: String,
    /// When, or how long it takes.
    pub(super) when: String,
    /// Until when it must be poured, or how long it pours.
    pub(super) pot_life: Option<String>,
    /// The masses to reach.
    pub(super) masses: Vec<Mass>,
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
    /// The form of the balance, in a step that weighs the parts of a booked cast.
    pub(super) balance: Option<Balance>,
}

/// A caution, and the step that said it before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Caution {
    /// Its words.
    pub(super) says: String,
    /// The number of the earlier step.
    pub(super) again: Option<u32>,
}

/// The form of the balance.
pub(super) struct Balance {
    /// The batch, from 1.
    pub(super) batch: usize,
    /// What was typed.
    pub(super) readings: Readings,
    /// What else the address holds: before it and after it.
    pub(super) kept: (Vec<Kept>, Vec<Kept>),
    /// How much curing agent belongs to the base that was weighed.
    pub(super) curing_agent: Option<String>,
    /// What to do.
    pub(super) advice: Option<Advice>,
    /// Why there is no advice.
    pub(super) refused: Option<String>,
}

/// What the words of the steps are made with.
pub(super) struct Words<'a> {
    /// Materials by code.
    pub(super) names: &'a Names,
    /// The places of the balance.
    pub(super) places: usize,
    /// Where the clock hangs.
    pub(super) zone: Tz,
    /// The day of the cast.
    pub(super) on: NaiveDate,
}

impl Words<'_> {
    /// A material's name.
    pub(super) fn name(&self, code: &str) -> String {
        let known = self.names.get(code);
        known.map_or_else(|| code.to_owned(), |(name, _)| name.clone())
    }

    /// A quantity of a material.
    fn of_material(&self, quantity: Quantity, code: &str) -> String {
        match self.names.get(code).map_or("", |(_, unit)| *unit) {
            "g" => grams(quantity.value(), self.places),
            unit => amount(quantity, unit),
        }
    }

    /// A time of the clock, with its day when it is another than the cast's.
    pub(super) fn clock(&self, at: DateTime<Utc>) -> String {
        let local = at.with_timezone(&self.zone);
        let (time, on) = (local.format("%H:%M"), local.date_naive());
        match on == self.on {
            true => time.to_string(),
            false => format!("{time} on {}", day(on, self.on)),
        }
    }

    fn lot(&self, lot: &SheetLot) -> String {
        let mut says = format!(
            "{} of {}: lot {}, pack {}",
            self.of_material(lot.quantity, &lot.material),
            self.name(&lot.material),
            lot.lot,
            lot.pack_no
        );
        if let Some(by) = lot.expires_on {
            says.push_str(&format!(", use by {}", day(by, self.on)));
        }
        says
    }
}

/// A mass with as many places as the balance shows.
pub(in crate::pages) fn grams(mass: Micro, places: usize) -> String {
    let places = places.min(6);
    let step = 10_i128.pow(6 - places as u32);
    let steps = round_half_even_div(i128::from(mass.micro()), step).unwrap_or(0);
    let (sign, steps) = (
        if steps < 0 { "\u{2212}" } else { "" },
        steps.unsigned_abs(),
    );
    let whole = 10_u128.pow(places as u32);
    match places {
        0 => format!("{sign}{steps} g"),
        _ => format!("{sign}{}.{:0places$} g", steps / whole, steps % whole),
    }
}

/// The places that the balance shows: as many as the targets have, which are counted in its steps.
pub(super) fn places(sheet: &BenchSheet) -> usize {
    let of = |mass: Micro| {
        let text = mass.to_string();
        text.split_once('.').map_or(0, |(_, places)| places.len())
    };
    let targets = sheet.steps.iter().filter_map(|step| match &step.detail {
        StepDetail::Weigh(detail) => Some([&detail.base, &detail.curing_agent]),
        _ => None,
    });
    targets
        .flatten()
        .flat_map(|part| [part.target_g, part.min_g, part.max_g])
        .map(of)
        .max()
        .unwrap_or(0)
}

/// Minutes in words, such as `5 min`, `48 h` or `2 h 30 min`.
pub(in crate::pages) fn minutes(minutes: Micro) -> String {
    let whole = minutes.to_f64().round() as i64;
    match (whole / 60, whole % 60) {
        (0, rest) => format!("{rest} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, rest) => format!("{hours} h {rest} min"),
    }
}

/// The steps of a sheet.
///
/// # Errors
/// [`Error::Invalid`] when a figure leaves its range.
pub(super) fn steps(
    sheet: &BenchSheet,
    words: &Words<'_>,
    asked: &Asked,
    weighed: &[Weighed],
) -> Result<Vec<Step>, Error> {
    let mut said: HashMap<&str, u32> = HashMap::new();
    let mut batch = 0;
    let mut found = Vec::with_capacity(sheet.steps.len());
    for step in &sheet.steps {
        let mut balance = None;
        let mut readings = Readings::default();
        if let StepDetail::Weigh(detail) = &step.detail {
            readings = asked.readings.get(batch).cloned().unwrap_or_default();
            if sheet.state == "booked" {
                let known = weighed.get(batch).cloned().unwrap_or_default();
                let ratio = (detail.base_g_per_g_curing_agent()?, detail.ratio_tolerance);
                balance = Some(Balance {
                    batch: batch + 1,
                    readings: readings.clone(),
                    kept: asked.kept(Some(batch)),
                    curing_agent: known.curing_agent_g.map(|mass| grams(mass, words.places)),
                    advice: known
                        .correction
                        .as_ref()
                        .map(|correction| advice(correction, ratio, words.places)),
                    refused: known.refused,
                });
            }
            batch += 1;
        }
        let cautions: Vec<Caution> = step
            .cautions
            .iter()
            .map(|says| {
                let first = *said.entry(says).or_insert(step.no);
                Caution {
                    says: says.clone(),
                    again: (first != step.no).then_some(first),
                }
            })
            .collect();
        found.push(Step {
            no: step.no,
            later: step.batch.is_some_and(|batch| batch > 1),
            title: step.title.clone(),
            when: when(step, words),
            pot_life: pot_life(step, words),
            echo: echo(&cautions),
            cautions,
            masses: masses(&step.detail, words, readings),
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
            balance,
        });
    }
    Ok(found)
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
        (Some(from), Some(to)) => format!("{} to {}", words.clock(from), words.clock(to)),
        _ => minutes(step.takes_min),
    }
}

fn pot_life(step: &SheetStep, words: &Words<'_>) -> Option<String> {
    let lasts = match &step.detail {
        StepDetail::Mix(detail) => detail.pour_by_min_after_mixing,
        StepDetail::Pour(detail) => detail.pour_by_min_after_mixing,
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
            let caution = |again: &Option<u32>| Caution {
                says: "Vent slowly.".to_owned(),
                again: *again,
            };
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
    fn masses_have_the_places_of_the_balance() {
        let of = |text: &str, places| grams(Micro::parse(text).unwrap(), places);
        assert_eq!(of("57.4", 2), "57.40 g");
        assert_eq!(of("16.06749", 2), "16.07 g");
        assert_eq!(of("1234.5", 1), "1234.5 g");
        assert_eq!(of("0.05", 1), "0.0 g");
        assert_eq!(of("3.6", 0), "4 g");
        assert_eq!(of("-1.25", 2), "\u{2212}1.25 g");
    }

    #[test]
    fn minutes_are_read_as_hours_when_they_are_many() {
        let of = |text: &str| minutes(Micro::parse(text).unwrap());
        assert_eq!(of("5"), "5 min");
        assert_eq!(of("2880"), "48 h");
        assert_eq!(of("150"), "2 h 30 min");
    }

    #[test]
    fn the_clock_names_the_day_when_it_is_another() {
        let names = Names::new();
        let words = Words {
            names: &names,
            places: 2,
            zone: chrono_tz::Europe::Berlin,
            on: "2026-03-02".parse().unwrap(),
        };
        let of = |at: &str| words.clock(at.parse().unwrap());
        assert_eq!(of("2026-03-02T09:40:00Z"), "10:40");
        assert_eq!(of("2026-03-02T23:40:00Z"), "00:40 on Tue 3 Mar");
    }
}
