//! What was planned of a cast against what came, component by component, in words.
//!
//! Invariants: the components stand in the order of the work; every amount is rounded for reading only. Deliberately absent: any
//! sum (the operation has them).

use crate::base::{Money, Quantity};
use crate::casting::cost::Component;
use crate::casting::variance::view::{CastCost, ComponentVariance};
use crate::pages::parts::name;
use crate::pages::words::{amount, money, sentence};

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
