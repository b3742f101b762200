//! The masses of a step, each with the field of the balance beneath it.
//!
//! Invariants: the windows are the sheet's; a needle stands where something was typed that can be read; a cast that is not
//! booked has nothing to type. Deliberately absent: the judgement (`advice`).

use super::asked::Asked;
use super::field::{Check, Choice, Input};
use super::needle::{Window, window};
use super::words::{Words, grams};
use crate::base::Micro;
use crate::casting::bench::sheet::{PartTarget, StepDetail, WeighCupDetail, WeighDetail};

/// A mass to reach.
pub(super) struct Mass {
    /// The number alone.
    pub(super) number: String,
    /// What of.
    pub(super) of: String,
    /// Where it may be, where that is known.
    pub(super) window: Option<Window>,
    /// The window in words.
    pub(super) says: String,
}

/// A mass with its field.
#[derive(Default)]
pub(super) struct Block {
    /// The mass.
    pub(super) mass: Option<Mass>,
    /// What follows from what was typed.
    pub(super) says: Option<String>,
    /// The fields.
    pub(super) inputs: Vec<Input>,
}

/// What is rarely said of a batch.
pub(super) struct More {
    /// Whether something of it was said.
    pub(super) open: bool,
    /// The fields.
    pub(super) inputs: Vec<Input>,
    /// The choices.
    pub(super) choices: Vec<Choice>,
    /// The boxes.
    pub(super) checks: Vec<Check>,
}

/// Packs that a part may have come from: the id of each, and its words.
#[derive(Debug, Clone, Default)]
pub(super) struct Packs {
    /// Of the base.
    pub(super) base: Vec<(String, String)>,
    /// Of the curing agent.
    pub(super) curing_agent: Vec<(String, String)>,
}

fn mass(target: Micro, of: &str, words: &Words<'_>) -> Mass {
    let number = grams(target, words.places);
    Mass {
        number: number.trim_end_matches(" g").to_owned(),
        of: of.to_owned(),
        window: None,
        says: String::new(),
    }
}

/// A mass with the window from `least` to `most`.
fn within(
    (least, target, most): (Micro, Micro, Micro),
    of: &str,
    shown: Option<Micro>,
    words: &Words<'_>,
) -> Mass {
    let written = |mass: Micro| grams(mass, words.places);
    Mass {
        window: Some(window(
            (least.to_f64(), target.to_f64(), most.to_f64()),
            shown.map(Micro::to_f64),
            [written(least), written(target), written(most)],
        )),
        says: format!("{} to {}", written(least), written(most)),
        ..mass(target, of, words)
    }
}

/// The masses of a step. `asked` holds what was typed, of the batch at `place`; none when there is nothing to type.
pub(super) fn blocks(
    detail: &StepDetail,
    words: &Words<'_>,
    asked: Option<&Asked>,
    place: usize,
) -> Vec<Block> {
    let alone = |mass: Mass| {
        vec![Block {
            mass: Some(mass),
            ..Block::default()
        }]
    };
    match detail {
        StepDetail::Weigh(detail) => weigh(detail, words, asked, place),
        StepDetail::Pour(detail) => alone(mass(detail.per_container_g, "g into each tray", words)),
        StepDetail::WeighCup(detail) => vec![weigh_cup(detail, words, asked, place)],
        _ => Vec::new(),
    }
}

fn weigh(
    detail: &WeighDetail,
    words: &Words<'_>,
    asked: Option<&Asked>,
    place: usize,
) -> Vec<Block> {
    let part = |part: &PartTarget, what: &str, name: &'static str, label: &str| {
        let target = (part.min_g, part.target_g, part.max_g);
        let shown = asked.and_then(|asked| asked.known(name, place));
        let of = format!("g of {what}: {}", part.name);
        let input = asked.map(|asked| Input::of(asked, name, place, label));
        Block {
            mass: Some(within(target, &of, shown, words)),
            says: None,
            inputs: input.into_iter().collect(),
        }
    };
    let tare = asked.map(|asked| {
        let label = match detail.cup_tare_g {
            Some(tare) => format!("The empty cup weighs, g (empty: {tare}, as in the catalogue)"),
            None => "The empty cup weighs, g".to_owned(),
        };
        Block {
            inputs: vec![Input::of(asked, "cup_tare_g", place, label)],
            ..Block::default()
        }
    });
    let parts = [
        part(&detail.base, "base", "base_g", "Base: the balance shows, g"),
        part(
            &detail.curing_agent,
            "curing agent",
            "curing_agent_g",
            "Curing agent: the balance shows, g",
        ),
    ];
    tare.into_iter().chain(parts).collect()
}

fn weigh_cup(
    detail: &WeighCupDetail,
    words: &Words<'_>,
    asked: Option<&Asked>,
    place: usize,
) -> Block {
    let target = (
        detail.doubtful_below_g,
        detail.expected_residue_g,
        detail.doubtful_above_g,
    );
    let stayed = asked.and_then(|asked| stayed(detail, asked, place));
    let doubtful = |stayed: Micro| {
        let within = (detail.doubtful_below_g..=detail.doubtful_above_g).contains(&stayed);
        if within {
            ""
        } else {
            " That is probably a slip: weigh again."
        }
    };
    Block {
        mass: Some(within(
            target,
            "g expected to stay in the cup",
            stayed.as_ref().map(|(mass, _)| *mass),
            words,
        )),
        says: stayed.map(|(mass, says)| format!("{says}{}", doubtful(mass))),
        inputs: asked
            .map(|asked| {
                let label = "The cup with what stayed in it weighs, g";
                Input::of(asked, "cup_gross_g", place, label)
            })
            .into_iter()
            .collect(),
    }
}

/// What stayed in the cup, and how that is known.
fn stayed(detail: &WeighCupDetail, asked: &Asked, place: usize) -> Option<(Micro, String)> {
    if let Some(residue) = asked.known("residue_g", place) {
        return Some((residue, format!("{residue} g stayed in the cup.")));
    }
    let gross = asked.known("cup_gross_g", place)?;
    let typed = asked.known("cup_tare_g", place);
    let tare = typed.or(detail.cup_tare_g)?;
    let net = gross.checked_sub(tare).ok()?;
    let says = format!("{gross} g gross \u{2212} {tare} g tare = {net} g stayed in the cup.");
    Some((net, says.replace("= -", "= \u{2212}")))
}

/// What is rarely said of a batch.
pub(super) fn more(asked: &Asked, place: usize, packs: &Packs) -> More {
    let input = |name, label: &str| Input::of(asked, name, place, label);
    let choice = |name, label: &str, known: &[(String, String)]| {
        Choice::of(
            asked,
            (name, place),
            label,
            "the one that is promised",
            known,
        )
    };
    let names = [
        "residue_g",
        "discarded",
        "base_pack_id",
        "curing_agent_pack_id",
    ];
    let no = (place + 1).to_string();
    More {
        open: names
            .iter()
            .any(|name| asked.is_given(name, place) || asked.field(name, place).fault.is_some())
            || asked.has("stirrer_in_weighing", &no),
        inputs: vec![
            input(
                "residue_g",
                "What stayed, g, if you know it without the cup",
            ),
            input("discarded", "It was thrown away, because"),
        ],
        choices: vec![
            choice("base_pack_id", "The base came from", &packs.base),
            choice(
                "curing_agent_pack_id",
                "The curing agent came from",
                &packs.curing_agent,
            ),
        ],
        checks: vec![Check::of(
            asked,
            "stirrer_in_weighing",
            no,
            "The stirrer stood in the cup when it was weighed",
        )],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Micro {
        Micro::parse(text).unwrap()
    }

    fn detail(tare: Option<&str>) -> WeighCupDetail {
        WeighCupDetail {
            expected_residue_g: of("2"),
            planned_residue_g: of("2.5"),
            doubtful_below_g: of("1"),
            doubtful_above_g: of("3"),
            cup_tare_g: tare.map(of),
            expected_gross_g: None,
        }
    }

    #[test]
    fn what_stayed_is_the_gross_less_the_tare_that_was_weighed() {
        let of = |query: &str, tare| {
            let found = stayed(&detail(tare), &Asked::read(query), 0);
            found.map(|(_, says)| says)
        };
        assert_eq!(
            of("cup_gross_g=10.3&cup_tare_g=8.1", Some("8")).unwrap(),
            "10.3 g gross \u{2212} 8.1 g tare = 2.2 g stayed in the cup."
        );
        assert_eq!(
            of("cup_gross_g=7", Some("8")).unwrap(),
            "7 g gross \u{2212} 8 g tare = \u{2212}1 g stayed in the cup."
        );
        assert_eq!(of("cup_gross_g=10", None), None);
        assert_eq!(of("cup_gross_g=a", Some("8")), None);
        assert_eq!(of("residue_g=2", None).unwrap(), "2 g stayed in the cup.");
    }

    #[test]
    fn what_is_rarely_said_stays_folded_until_it_is_said() {
        let open = |query: &str| more(&Asked::read(query), 1, &Packs::default()).open;
        assert!(!open("discarded=cloudy&residue_g=1") && open("discarded=&discarded=cloudy"));
        assert!(open("stirrer_in_weighing=2") && !open("stirrer_in_weighing=1"));
    }
}
