//! The parts of a cast's cost in words: by component and per good chip, and what was planned against what came.
//!
//! Invariants: the components stand in the order of the work, each under its number; every amount is rounded for reading only.
//! Deliberately absent: any sum (the operation has them).

use crate::base::{Error, Money, Quantity};
use crate::casting::cost::{Component, CostView};
use crate::casting::variance::view::{CastCost, ComponentVariance};
use crate::pages::words::{amount, money, sentence};

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
    let part = |(at, of): (usize, &crate::casting::cost::ComponentAmount)| Part {
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

/// A row of what was planned against what came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Against {
    /// What it is, in words.
    pub(super) name: &'static str,
    /// The planned and the actual quantity, where there is one.
    pub(super) quantities: Option<(String, String)>,
    /// Planned, in money.
    pub(super) planned: String,
    /// As it came.
    pub(super) actual: String,
    /// The difference with its direction.
    pub(super) difference: String,
    /// Whether it came dearer.
    pub(super) dearer: bool,
    /// Why, as a sentence.
    pub(super) why: String,
}

/// What was planned against what came, component by component.
pub(super) fn against(cost: &CastCost) -> Vec<Against> {
    let currency = &cost.cost.currency;
    cost.variance
        .iter()
        .map(|row| Against {
            name: name(row.component),
            quantities: quantities(row),
            planned: money(row.planned, currency),
            actual: money(row.actual, currency),
            difference: direction(row.difference, currency),
            dearer: row.difference > Money::ZERO,
            why: sentence(&row.why),
        })
        .collect()
}

fn quantities(row: &ComponentVariance) -> Option<(String, String)> {
    let unit = row.unit?.as_str();
    // Coats and mould are counted in trays, and so are the trays themselves.
    let written = |quantity: Quantity| match (row.component, unit) {
        (Component::Cup, "each") => format!("{} cups", amount(quantity, unit)),
        (_, "each") => format!("{} trays", amount(quantity, unit)),
        (_, unit) => amount(quantity, unit),
    };
    Some((
        written(row.planned_quantity?),
        written(row.actual_quantity?),
    ))
}

/// A difference in words, such as `0.146 EUR more`.
pub(super) fn direction(difference: Money, currency: &str) -> String {
    let written = money(difference, currency);
    match written.strip_prefix('\u{2212}') {
        Some(less) => format!("{less} less"),
        None if difference > Money::ZERO && written.chars().any(|c| ('1'..='9').contains(&c)) => {
            format!("{written} more")
        }
        None => "as planned".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Micro;
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

    #[test]
    fn a_difference_says_its_direction() {
        let of = |text: &str| direction(Money::parse(text).unwrap(), "EUR");
        assert_eq!(of("0.146445"), "0.146 EUR more");
        assert_eq!(of("-1.5"), "1.50 EUR less");
        assert_eq!(of("0"), "as planned");
        assert_eq!(of("-0.000001"), "as planned");
        assert_eq!(of("0.000001"), "as planned");
    }
}
