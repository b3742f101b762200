//! What is recorded from the sheet: the pour of a booked cast, and the chips of a poured one.
//!
//! Invariants: the fields belong to the sheet's one form, so that nothing typed is lost; what was typed above is read back before
//! it is recorded. Deliberately absent: what is right (the operations know).

use super::asked::Asked;
use super::demold_form::{REASONS, reason};
use super::field::{Check, Input};
use super::words::{Words, grams};
use crate::casting::bench::sheet::{BenchSheet, StepDetail};
use crate::pages::words::{counted, day};
use chrono::NaiveDate;

/// The most trays that are counted each for itself.
const TRAYS_MAX: usize = 60;

/// What was poured.
pub(super) struct PourCard {
    /// Each batch as it was typed above.
    pub(super) batches: Vec<String>,
    /// The fields.
    pub(super) inputs: Vec<Input>,
    /// The boxes.
    pub(super) checks: Vec<Check>,
    /// What is wrong with it as a whole.
    pub(super) fault: Option<String>,
}

/// The chips that were counted.
pub(super) struct CountCard {
    /// Good chips, and the day.
    pub(super) inputs: Vec<Input>,
    /// Rejected chips: why, and how many.
    pub(super) rejects: Vec<(Input, Input)>,
    /// Each tray: good, rejected, why.
    pub(super) trays: Vec<[Input; 3]>,
    /// Whether trays were counted each for itself.
    pub(super) by_tray: bool,
    /// How thick the chips came out.
    pub(super) thickness: Input,
    /// What is wrong with it as a whole.
    pub(super) fault: Option<String>,
}

/// The card of a pour.
pub(super) fn pour_card(
    sheet: &BenchSheet,
    asked: &Asked,
    words: &Words<'_>,
    today: NaiveDate,
    fault: Option<String>,
) -> PourCard {
    let weighs = sheet
        .steps
        .iter()
        .filter(|step| matches!(step.detail, StepDetail::Weigh(_)));
    let batches = (0..weighs.count()).map(|place| batch(asked, place, words));
    let input = |name, label: String| Input::of(asked, name, 0, label);
    let coated = sheet
        .steps
        .iter()
        .any(|step| matches!(step.detail, StepDetail::ReleaseCoat(_)));
    let uncoated = Check::of(
        asked,
        "uncoated",
        "1",
        "It was cast without the coats that were due",
    );
    let recount = Check::of(
        asked,
        "recount",
        "1",
        "The bench is right where more was used than the books hold",
    );
    PourCard {
        batches: batches.collect(),
        inputs: vec![
            input(
                "containers_poured",
                format!(
                    "Trays poured (empty: all {})",
                    counted(sheet.containers, "tray", "trays")
                ),
            ),
            input("level_mm", "Level seen in a tray, mm".to_owned()),
            input(
                "poured_on",
                format!("The day (empty: today, {})", day(today, today)),
            ),
        ],
        checks: coated
            .then_some(uncoated)
            .into_iter()
            .chain([recount])
            .collect(),
        fault,
    }
}

/// A batch as it was typed.
fn batch(asked: &Asked, place: usize, words: &Words<'_>) -> String {
    let part = |name, what: &str| match (asked.known(name, place), asked.typed(name, place)) {
        (Some(mass), _) => format!("{} {what}", grams(mass, words.places)),
        (None, "") => format!("no {what} yet"),
        (None, typed) => format!("`{typed}` {what}"),
    };
    let stayed = match (
        asked.is_given("discarded", place),
        asked.is_given("residue_g", place) || asked.is_given("cup_gross_g", place),
    ) {
        (true, _) => "thrown away",
        (false, true) => "the cup weighed",
        (false, false) => "the cup not weighed: what stayed in it is estimated",
    };
    format!(
        "Batch {}: {}, {}, {stayed}.",
        place + 1,
        part("base_g", "base"),
        part("curing_agent_g", "curing agent")
    )
}

/// The card of a count.
pub(super) fn count_card(
    sheet: &BenchSheet,
    asked: &Asked,
    today: NaiveDate,
    fault: Option<String>,
) -> CountCard {
    let recorded = sheet.recorded.as_ref();
    let trays = recorded.map_or(sheet.containers, |of| of.pour.containers_poured);
    let trays = usize::try_from(trays).unwrap_or(0).min(TRAYS_MAX);
    let rows = asked.places("reject_count").max(REASONS.len());
    let rejects = (0..rows).map(|row| {
        let why = Input {
            value: reason(asked, row).to_owned(),
            ..Input::of(asked, "reject_reason", row, "Why")
        };
        (why, Input::of(asked, "reject_count", row, "How many"))
    });
    let told = |name| (0..trays).any(|tray| asked.is_given(name, tray));
    CountCard {
        inputs: vec![
            Input::of(asked, "good", 0, "Good chips"),
            Input::of(
                asked,
                "demolded_on",
                0,
                format!("The day (empty: today, {})", day(today, today)),
            ),
        ],
        rejects: rejects.collect(),
        trays: (0..trays)
            .map(|tray| {
                [
                    Input::of(asked, "tray_good", tray, "good"),
                    Input::of(asked, "tray_count", tray, "rejected"),
                    Input::of(asked, "tray_reason", tray, "why"),
                ]
            })
            .collect(),
        by_tray: told("tray_good") || told("tray_count"),
        thickness: Input::of(asked, "chip_thickness_mm", 0, "Thickness of a chip, mm"),
        fault,
    }
}

#[cfg(test)]
mod tests {
    use super::super::ops::Names;
    use super::*;

    #[test]
    fn a_batch_is_read_back_as_it_was_typed() {
        let names = Names::new();
        let words = Words {
            names: &names,
            places: 2,
            zone: chrono_tz::UTC,
            on: "2026-03-02".parse().unwrap(),
        };
        let of = |query: &str| batch(&Asked::read(query), 0, &words);
        assert_eq!(
            of(""),
            "Batch 1: no base yet, no curing agent yet, the cup not weighed: what stayed in it is estimated."
        );
        assert_eq!(
            of("base_g=33.1&curing_agent_g=3,3&cup_gross_g=9"),
            "Batch 1: 33.10 g base, `3,3` curing agent, the cup weighed."
        );
        assert!(of("discarded=cloudy").ends_with("thrown away."));
    }
}
