//! What is to know of one kind of work besides its masses, in words.

use super::words::{Words, grams, minutes};
use crate::base::{Micro, Quantity};
use crate::casting::bench::sheet::{
    CoatDetail, CureDetail, PourDetail, StepDetail, TapeDetail, WeighCupDetail, WeighDetail,
};
use crate::catalogue::WeighingBody;
use crate::pages::words::{amount, counted, sentence};

/// What else is to know of a step.
pub(super) fn notes(detail: &StepDetail, words: &Words<'_>) -> Vec<String> {
    match detail {
        StepDetail::Prepare(detail) => vec![format!(
            "{} × {}, {} × {}, {} of the mould.",
            detail.containers,
            words.name(&detail.container),
            detail.cups,
            words.name(&detail.cup),
            counted(detail.copies, "copy", "copies")
        )],
        StepDetail::Tape(detail) => vec![tape(detail)],
        StepDetail::ReleaseCoat(detail) => coat(detail),
        StepDetail::Weigh(detail) => weigh(detail, words),
        StepDetail::Mix(detail) => vec![format!(
            "{} in the cup.",
            grams(detail.total_g, words.places)
        )],
        StepDetail::Degas(detail) => vec![format!(
            "{} is {} % full; up to {} % leaves room for the foam.{}",
            words.name(&detail.vessel),
            per_cent(detail.room.fraction_filled),
            per_cent(detail.room.fill_limit),
            if detail.room.enough {
                ""
            } else {
                " It has no room: use a larger one."
            }
        )],
        StepDetail::Pour(detail) => pour(detail, words),
        StepDetail::WeighCup(detail) => weigh_cup(detail, words),
        StepDetail::Cure(detail) => cure(detail),
        StepDetail::Demold(detail) => vec![format!(
            "{} from {}: count good and rejected.",
            counted(detail.chips, "chip", "chips"),
            counted(detail.containers, "tray", "trays")
        )],
        StepDetail::Waste(detail) => vec![format!(
            "About {} of trim and {} from the cups; {}.",
            grams(detail.trim_g, words.places),
            grams(detail.residue_g, words.places),
            counted(detail.vials, "spent vial", "spent vials")
        )],
    }
}

fn plain(number: Micro) -> String {
    amount(Quantity::new(number), "each")
}

fn per_cent(share: Micro) -> i64 {
    (share.to_f64() * 100.0).round() as i64
}

fn tape(detail: &TapeDetail) -> String {
    format!(
        "{} of {} mm along the {}, {} for each copy; {} m in all.",
        counted(detail.strips, "strip", "strips"),
        plain(detail.strip_length_mm),
        detail.along,
        detail.strips_per_copy,
        plain(detail.total_m)
    )
}

fn coat(detail: &CoatDetail) -> Vec<String> {
    vec![
        format!(
            "{}, {}; usual {} at {} to {} Torr.",
            counted(detail.molds, "mould", "moulds"),
            counted(detail.vials, "vial", "vials"),
            minutes(detail.vapour_min),
            detail.pressure_min_torr,
            detail.pressure_max_torr
        ),
        detail.note.clone(),
    ]
}

fn weigh(detail: &WeighDetail, words: &Words<'_>) -> Vec<String> {
    let written = |mass: Micro| grams(mass, words.places);
    let mut notes = vec![detail.tare_note.clone()];
    match (detail.weighing, &detail.tare_and_gross) {
        (WeighingBody::Cumulative, _) => notes.push(format!(
            "Without setting to zero in between, from {}: {} with the base in the cup, {} with both.",
            written(detail.cumulative.from_g),
            written(detail.cumulative.after_base_g),
            written(detail.cumulative.after_curing_agent_g)
        )),
        (WeighingBody::TareAndGross, Some(readings)) => notes.push(format!(
            "Set to zero before each part; without that the balance shows {} with the base in the cup, {} with both.",
            written(readings.base.gross_g),
            written(readings.curing_agent.gross_g)
        )),
        (WeighingBody::TareAndGross, None) => {
            notes.push("Set the balance to zero before each part.".to_owned());
        }
    }
    notes.push(
        "Each window holds while the other part is at its target; once both are weighed, their ratio counts."
            .to_owned(),
    );
    if !detail.reachable {
        notes.push(
            "This balance cannot keep the ratio within its tolerance with so little: use a finer one or a larger batch."
                .to_owned(),
        );
    }
    notes
}

fn pour(detail: &PourDetail, words: &Words<'_>) -> Vec<String> {
    let trays: Vec<String> = detail
        .containers
        .iter()
        .map(|tray| format!("tray {} (copy {})", tray.no, tray.copy))
        .collect();
    let mut notes = vec![
        format!(
            "{}: to {} mm above the floor, of which {} are the fill.",
            sentence(&trays.join(", ")).trim_end_matches('.'),
            plain(detail.level_mm),
            grams(detail.fill_g, words.places)
        ),
        format!(
            "Drain the cup for {} s at the end.",
            plain(detail.drain_time_s)
        ),
    ];
    if !detail.keeps_pot_life {
        notes.push("Pouring takes longer than the pot life: mix less at a time.".to_owned());
    }
    notes
}

fn weigh_cup(detail: &WeighCupDetail, words: &Words<'_>) -> Vec<String> {
    let written = |mass: Micro| grams(mass, words.places);
    let mut notes = vec![format!(
        "{} are planned for. Below {} or above {} it is probably a slip: weigh again.",
        written(detail.planned_residue_g),
        written(detail.doubtful_below_g),
        written(detail.doubtful_above_g)
    )];
    if let (Some(gross), Some(tare)) = (detail.expected_gross_g, detail.cup_tare_g) {
        notes.push(format!(
            "With the cup about {}, of which {} are the cup by the catalogue.",
            written(gross),
            written(tare)
        ));
    }
    notes
}

fn cure(detail: &CureDetail) -> Vec<String> {
    let cure = &detail.cure;
    let mut notes = vec![format!(
        "{} °C for {}, {}.",
        plain(cure.temperature_c),
        minutes(cure.minutes),
        counted(detail.containers, "tray", "trays")
    )];
    if let Some(at_once) = detail.oven_containers {
        notes.push(format!(
            "The oven takes {} at once: {}.",
            counted(at_once, "tray", "trays"),
            counted(detail.oven_runs, "run", "runs one after the other")
        ));
    }
    if let Some(reason) = &detail.heat_override_reason {
        notes.push(format!(
            "Above what tray or mould bears, because: {reason}."
        ));
    }
    notes.extend(cure.note.as_deref().map(sentence));
    notes
}
