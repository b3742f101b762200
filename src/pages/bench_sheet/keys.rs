//! The names under which steps are ticked off.
//!
//! Invariant: a step keeps its name when others come or go before it (a coat that is made leaves the sheet), so that a tick stays
//! with its work. Deliberately absent: the numbers, which are for reading.

use crate::casting::bench::sheet::{BenchStep, SheetStep, StepDetail};

/// The names of steps, in their order.
pub(super) fn keys(steps: &[SheetStep]) -> Vec<String> {
    steps.iter().map(key).collect()
}

/// The name of a step: its work, with its batch or its round, and for a coat the copies.
fn key(step: &SheetStep) -> String {
    let work = word(step.step);
    match (&step.detail, step.batch, step.round) {
        (StepDetail::ReleaseCoat(detail), ..) => format!("coat-{}", coat_word(&detail.copies)),
        (_, Some(batch), _) => format!("{work}-{batch}"),
        (_, None, Some(round)) => format!("{work}-{round}"),
        (_, None, None) => work.to_owned(),
    }
}

/// The copies of a coat in one word.
pub(super) fn coat_word(copies: &[u32]) -> String {
    let copies: Vec<String> = copies.iter().map(u32::to_string).collect();
    match copies.is_empty() {
        true => "all".to_owned(),
        false => copies.join("."),
    }
}

fn word(step: BenchStep) -> &'static str {
    match step {
        BenchStep::Prepare => "prepare",
        BenchStep::Tape => "tape",
        BenchStep::ReleaseCoat => "coat",
        BenchStep::Weigh => "weigh",
        BenchStep::Mix => "mix",
        BenchStep::Degas => "degas",
        BenchStep::Pour => "pour",
        BenchStep::WeighCup => "cup",
        BenchStep::Cure => "cure",
        BenchStep::Demold => "demold",
        BenchStep::Waste => "waste",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coat_is_named_by_its_copies() {
        assert_eq!(coat_word(&[1, 2]), "1.2");
        assert_eq!(coat_word(&[]), "all");
    }
}
