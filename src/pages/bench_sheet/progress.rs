//! How far the work of a sheet is: what is ticked, what waits next, and which clocks run.
//!
//! Invariants: the next step is the first that is neither ticked nor recorded; once all before the record are ticked, the record
//! itself waits; a clock runs only for a batch whose own mixing was told. Deliberately absent: any order of work (the sheet has
//! it).

use chrono::{DateTime, Utc};

use super::asked::Asked;
use super::clock::{Until, until};
use super::keys::keys;
use super::words::Words;
use crate::casting::bench::sheet::{BenchSheet, BenchStep, SheetStep};

/// How far the work is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Progress {
    /// The step that waits, by its place from 0.
    pub(super) next: Option<usize>,
    /// Whether nothing but the record waits.
    pub(super) record: bool,
    /// The step after which the pour is recorded.
    pub(super) poured: usize,
    /// The step after which the chips are counted.
    pub(super) counted: usize,
    recorded: usize,
    done: Vec<bool>,
}

impl Progress {
    /// Whether a step was recorded.
    pub(super) fn is_recorded(&self, at: usize) -> bool {
        at < self.recorded
    }

    /// Steps that are ticked or recorded.
    pub(super) fn done(&self) -> usize {
        self.done.iter().filter(|done| **done).count()
    }
}

/// How far the work is; `may` is whether the reader may record it.
pub(super) fn progress(sheet: &BenchSheet, asked: &Asked, may: bool) -> Progress {
    let kinds: Vec<BenchStep> = sheet.steps.iter().map(|step| step.step).collect();
    let names = keys(&sheet.steps).into_iter();
    let ticked = names.map(|name| asked.has("done", &name));
    of(&sheet.state, &kinds, &ticked.collect::<Vec<_>>(), may)
}

fn of(state: &str, kinds: &[BenchStep], ticked: &[bool], may: bool) -> Progress {
    let last = |kind| kinds.iter().rposition(|other| *other == kind);
    let end = kinds.len().saturating_sub(1);
    let poured = last(BenchStep::WeighCup).unwrap_or(end);
    let counted = last(BenchStep::Demold).unwrap_or(end);
    let (recorded, until) = match state {
        "booked" => (0, poured),
        "poured" => (poured + 1, counted),
        _ => (kinds.len(), 0),
    };
    let done: Vec<bool> = ticked
        .iter()
        .enumerate()
        .map(|(at, ticked)| *ticked || at < recorded)
        .collect();
    let waiting = (recorded..=until).find(|at| done.get(*at) == Some(&false));
    Progress {
        next: waiting,
        record: may && waiting.is_none() && recorded < kinds.len(),
        poured,
        counted,
        recorded,
        done,
    }
}

/// What runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Running {
    /// What, and until when.
    pub(super) says: String,
    /// What is left.
    pub(super) until: Until,
}

/// The clocks that run: the pot life of each batch that is mixed and not yet poured, and the cure of each round that is poured.
pub(super) fn running(
    sheet: &BenchSheet,
    progress: &Progress,
    mixed: &[(i32, DateTime<Utc>)],
    words: &Words<'_>,
    now: DateTime<Utc>,
) -> Vec<Running> {
    let own = |step: &SheetStep| mixed.iter().any(|(batch, _)| Some(*batch) == step.batch);
    let done = |at: usize| progress.done.get(at) == Some(&true);
    let all = || sheet.steps.iter().enumerate();
    let pots = all().filter_map(|(at, step)| {
        let waits = step.step == BenchStep::Pour && own(step) && !done(at);
        let by = step.pour_by.filter(|_| waits)?;
        let batch = step.batch?;
        let says = format!("Pour batch {batch} before {}", words.clock(by));
        Some((says, by))
    });
    let cures = all().filter_map(|(at, step)| {
        let cures = step.step == BenchStep::Cure && !done(at);
        let to = step.ends_at.filter(|_| cures)?;
        let of_round = || all().filter(|(_, other)| other.round == step.round);
        let poured = of_round().all(|(at, other)| other.step != BenchStep::Pour || done(at));
        let known = of_round().any(|(_, other)| own(other));
        (poured && known).then(|| (format!("Cures until {}", words.clock(to)), to))
    });
    pots.chain(cures)
        .map(|(says, at)| Running {
            says,
            until: until(at, now),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const KINDS: [BenchStep; 6] = [
        BenchStep::Prepare,
        BenchStep::Pour,
        BenchStep::WeighCup,
        BenchStep::Cure,
        BenchStep::Demold,
        BenchStep::Waste,
    ];

    /// Expected: the step that waits, whether the record does, and how many are done.
    #[track_caller]
    fn check(state: &str, ticked: &[usize], expected: (Option<usize>, bool, usize)) {
        let ticked: Vec<bool> = (0..KINDS.len()).map(|at| ticked.contains(&at)).collect();
        let found = of(state, &KINDS, &ticked, true);
        assert_eq!((found.next, found.record, found.done()), expected);
        let looked_at = of(state, &KINDS, &ticked, false);
        assert!(!looked_at.record && looked_at.next == found.next);
    }

    #[test]
    fn the_first_step_that_is_not_ticked_waits_and_then_the_record() {
        check("booked", &[], (Some(0), false, 0));
        check("booked", &[0, 2], (Some(1), false, 2));
        check("booked", &[0, 1, 2], (None, true, 3));
        check("poured", &[], (Some(3), false, 3));
        check("poured", &[3], (Some(4), false, 4));
        check("poured", &[3, 4], (None, true, 5));
        check("demolded", &[], (None, false, 6));
    }
}
