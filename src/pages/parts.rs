//! What a cast costs in its parts, as the cast's page and the plan's show it: the sum, a list by component, and the drawing.
//!
//! Invariants: the components stand in the order of the work, each under its number; every amount is rounded for reading only.
//! Deliberately absent: any sum (the operation has them).

use super::drawing::{Drawing, drawing};
use super::words::{amount, money};
use crate::base::{Error, Quantity};
use crate::casting::cost::{Component, ComponentAmount, CostView};
use crate::casting::planning::plan_view::CastPlan;

/// A cost as it is shown.
pub(super) struct CostShown {
    /// `as it came` or `as planned`.
    pub(super) basis: &'static str,
    /// The parts.
    pub(super) parts: Vec<Part>,
    /// The parts as the cup and the chip.
    pub(super) drawing: Drawing,
    /// The sum.
    pub(super) total: String,
    /// What a good chip costs; none when none is good.
    pub(super) each: Option<String>,
    /// How many chips are good, or are expected to be.
    pub(super) good: String,
    /// What rejected chips cost, if any are.
    pub(super) rejects: Option<String>,
}

/// A cost as it is shown, with what is said of its chips.
///
/// # Errors
/// [`Error::Invalid`] for a component below zero.
pub(super) fn cost_shown(
    cost: &CostView,
    good: String,
    rejects: Option<String>,
) -> Result<CostShown, Error> {
    let parts = parts(cost)?;
    Ok(CostShown {
        basis: match cost.basis.as_str() {
            "actual" => "as it came",
            _ => "as planned",
        },
        drawing: drawing(&parts),
        parts,
        total: money(cost.total, &cost.currency),
        each: cost.per_good_chip.map(|each| money(each, &cost.currency)),
        good,
        rejects,
    })
}

/// How many chips a plan expects to be good.
pub(super) fn expected_good(plan: &CastPlan) -> String {
    let good = amount(Quantity::new(plan.expected_good_chips), "each");
    format!("{good} of {} chips are expected to be good", plan.chips)
}

/// A component's part of the cost.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    /// Its number, from 1.
    pub(super) no: usize,
    /// What it is, in words.
    pub(super) name: &'static str,
    /// Its word, which chooses hue and pattern.
    pub(super) class: &'static str,
    /// What it makes of the cast.
    pub(super) amount: String,
    /// What it makes of a good chip; none when no chip is good.
    pub(super) each: Option<String>,
    /// Its size as the drawing needs it.
    pub(super) size: f64,
}

/// What a component is called on the page.
pub(super) const fn name(component: Component) -> &'static str {
    match component {
        Component::Chip => "Elastomer in the chips",
        Component::Trim => "Trim beside the mould",
        Component::Overfill => "Poured beyond the need",
        Component::Residue => "Residue in the cups",
        Component::Release => "Release coats",
        Component::Tape => "Tape",
        Component::Container => "Trays",
        Component::Cup => "Cups",
        Component::Mold => "Mould",
        Component::Sundries => "Sundries",
    }
}

/// The parts of a cost, in the order of the work.
///
/// # Errors
/// [`Error::Invalid`] for a component below zero.
pub(super) fn parts(cost: &CostView) -> Result<Vec<Part>, Error> {
    let each = cost.per_good_chip_parts()?;
    let part = |(at, of): (usize, &ComponentAmount)| Part {
        no: at + 1,
        name: name(of.component),
        class: of.component.as_str(),
        amount: money(of.amount, &cost.currency),
        each: each
            .as_ref()
            .and_then(|each| Some(money(*each.get(at)?, &cost.currency))),
        size: of.amount.micro().max(0) as f64,
    };
    Ok(cost.components.iter().enumerate().map(part).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Micro, Money};
    use crate::casting::cost::Components;

    #[test]
    fn the_parts_of_a_chip_add_up_and_keep_their_numbers() {
        let mut cost = Components::default();
        cost.add(Component::Chip, Money::from_int(9)).unwrap();
        cost.add(Component::Mold, Money::from_int(3)).unwrap();
        let view = CostView::new(&cost, "EUR", "actual", Micro::from_int(4)).unwrap();
        let parts = parts(&view).unwrap();
        assert_eq!(parts.len(), 10);
        assert_eq!(
            (parts[0].no, parts[0].each.as_deref()),
            (1, Some("2.25 EUR"))
        );
        assert_eq!(
            (parts[8].name, parts[8].each.as_deref()),
            ("Mould", Some("0.750 EUR"))
        );
        assert_eq!(parts[3].amount, "0.00 EUR");
        let none = CostView::new(&cost, "EUR", "actual", Micro::ZERO).unwrap();
        assert_eq!(super::parts(&none).unwrap()[0].each, None);
    }
}
