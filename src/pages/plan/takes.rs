//! What a plan takes: its cups by what is weighed into them, and its lots by how much they give.
//!
//! Invariants: cups that are alike stand together, with their numbers; what several cups take of a pack is added up; both in the
//! order of the work. Deliberately absent: the steps (the bench sheet has them).

use super::ops::Names;
use crate::base::{Error, Micro, Quantity};
use crate::casting::planning::plan_view::{BatchView, CastPlan, PassedOver, PickView};
use crate::pages::bench_sheet::grams;
use crate::pages::words::{amount, counted, day};
use crate::stock::needs::Purpose;

/// Cups that are alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Cups {
    /// Which, such as `Cups 1 to 4, each`.
    pub(super) title: String,
    /// Base to weigh, the number alone.
    pub(super) base: String,
    /// Curing agent to weigh, the number alone.
    pub(super) curing_agent: String,
    /// Both together, what of it is meant to stay in the cup, and for how many trays.
    pub(super) says: String,
}

/// A pack that gives something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Take {
    /// The material's name.
    pub(super) name: String,
    /// How much, with its unit.
    pub(super) quantity: String,
    /// The lot's id.
    pub(super) lot_id: i64,
    /// The lot, with the pack's number.
    pub(super) lot: String,
    /// Until when it is good.
    pub(super) until: String,
    /// Why this one.
    pub(super) why: String,
}

/// A pack that gives nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Passed {
    /// The material's name.
    pub(super) name: String,
    /// The lot's id.
    pub(super) lot_id: i64,
    /// The lot.
    pub(super) lot: String,
    /// Why not.
    pub(super) why: String,
}

/// The places that a balance of such a step shows.
pub(super) fn places(readability_g: Micro) -> usize {
    let text = readability_g.to_string();
    text.split_once('.').map_or(0, |(_, places)| places.len())
}

/// The name of a material.
pub(super) fn named(names: &Names, code: &str) -> String {
    let known = names.get(code);
    known.map_or_else(|| code.to_owned(), |(name, _)| name.clone())
}

/// A quantity of a material, with its unit.
pub(super) fn of_material(names: &Names, code: &str, quantity: Quantity) -> String {
    amount(quantity, names.get(code).map_or("", |(_, unit)| *unit))
}

/// The cups of a plan.
pub(super) fn cups(plan: &CastPlan, places: usize) -> Vec<Cups> {
    let mut alike: Vec<(&BatchView, Vec<i32>)> = Vec::new();
    for batch in &plan.batches {
        let same = |(other, _): &&mut (&BatchView, Vec<i32>)| {
            (
                other.base_g,
                other.curing_agent_g,
                other.residue_g,
                other.containers,
            ) == (
                batch.base_g,
                batch.curing_agent_g,
                batch.residue_g,
                batch.containers,
            )
        };
        match alike.iter_mut().find(same) {
            Some((_, numbers)) => numbers.push(batch.no),
            None => alike.push((batch, vec![batch.no])),
        }
    }
    let number = |mass: Micro| grams(mass, places).trim_end_matches(" g").to_owned();
    alike
        .iter()
        .map(|(batch, numbers)| Cups {
            title: match numbers.as_slice() {
                [only] => format!("Cup {only}"),
                [one, other] => format!("Cups {one} and {other}, each"),
                many => format!("Cups {}, each", ranges(many)),
            },
            base: number(batch.base_g),
            curing_agent: number(batch.curing_agent_g),
            says: format!(
                "{} of mix for {}; {} of it is allowed to stay in the cup",
                grams(batch.total_g, places),
                counted(batch.containers, "tray", "trays"),
                grams(batch.residue_g, places)
            ),
        })
        .collect()
}

/// Rising numbers in words, such as `1 to 4, 6`.
fn ranges(numbers: &[i32]) -> String {
    let mut runs: Vec<(i32, i32)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *number => *last = *number,
            _ => runs.push((*number, *number)),
        }
    }
    let words: Vec<String> = runs
        .iter()
        .map(|(first, last)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first} to {last}"),
        })
        .collect();
    words.join(", ")
}

/// The packs that give something, in the order of the work.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of quantities.
pub(super) fn takes(plan: &CastPlan, names: &Names) -> Result<Vec<Take>, Error> {
    let mut picks: Vec<PickView> = Vec::new();
    for pick in &plan.picks {
        let same =
            |other: &&mut PickView| (other.pack_id, other.purpose) == (pick.pack_id, pick.purpose);
        match picks.iter_mut().find(same) {
            Some(other) => other.quantity = other.quantity.checked_add(pick.quantity)?,
            None => picks.push(pick.clone()),
        }
    }
    let place = |pick: &PickView| Purpose::ALL.iter().position(|of| *of == pick.purpose);
    picks.sort_by_key(place);
    let take = |pick: PickView| Take {
        name: named(names, &pick.material),
        quantity: of_material(names, &pick.material, pick.quantity),
        lot_id: pick.lot_id,
        lot: format!("{}, pack {}", pick.lot, pick.pack_no),
        until: pick
            .expires_on
            .map_or_else(String::new, |last| day(last, plan.cast_on)),
        why: pick.why,
    };
    Ok(picks.into_iter().map(take).collect())
}

/// The packs that give nothing.
pub(super) fn passed(plan: &CastPlan, names: &Names) -> Vec<Passed> {
    let passed = |over: &PassedOver| Passed {
        name: named(names, &over.material),
        lot_id: over.lot_id,
        lot: over.lot.clone(),
        why: over.why.clone(),
    };
    plan.passed_over.iter().map(passed).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_follow_each_other_are_one_range() {
        assert_eq!(ranges(&[1]), "1");
        assert_eq!(ranges(&[1, 2, 4]), "1, 2, 4");
        assert_eq!(ranges(&[1, 2, 3, 4, 6, 8, 9, 10]), "1 to 4, 6, 8 to 10");
    }

    #[test]
    fn a_balance_shows_the_places_of_its_step() {
        let of = |text: &str| places(Micro::parse(text).unwrap());
        assert_eq!((of("0.01"), of("0.5"), of("1"), of("0.001")), (2, 1, 0, 3));
    }
}
