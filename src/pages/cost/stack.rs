//! What one good chip is made of, row by row: a bar in the order of the work, all bars to one scale.
//!
//! Invariants: a bar is as long as its row's cost per good chip, its parts add up to it as printed; the residue is pointed at
//! in every bar, however thin it is; each part has a number besides its hue and hatch. Deliberately absent: rows without a good
//! chip, which are told in words.

use super::figures::{chip_money, per_cent};
use super::table::named;
use crate::base::{Currency, Error, Micro, Money};
use crate::casting::cost::Component;
use crate::costing::replica_cost::per_chip::{chip_printed, parts_per_good_chip};
use crate::costing::replica_cost::report::{CostRow, ReplicaCost};

/// The parts in the order of the work: what the mix is spent on, then what the bench adds.
pub(super) const ORDER: [Component; 10] = [
    Component::Chip,
    Component::Residue,
    Component::Trim,
    Component::Overfill,
    Component::Release,
    Component::Tape,
    Component::Container,
    Component::Cup,
    Component::Mold,
    Component::Sundries,
];

/// How wide a part must be to carry its number, in hundredths of a per cent of the whole width.
const NUMBERED_FROM: i64 = 600;
/// The whole width, in hundredths of a per cent.
const WHOLE: i64 = 10_000;

/// What a part is, for the legend.
pub(super) const fn gloss(component: Component) -> &'static str {
    match component {
        Component::Chip => "elastomer that became chips",
        Component::Residue => "elastomer left in the cups",
        Component::Trim => "elastomer poured beside the mould",
        Component::Overfill => "elastomer beyond what the trays need, and discarded batches",
        Component::Release => "release coats",
        Component::Tape => "tape",
        Component::Container => "trays",
        Component::Cup => "mixing cups",
        Component::Mold => "the mould's own cost",
        Component::Sundries => "extras of the recipe",
    }
}

/// A part of a bar. Places are per cent of the whole width.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) number: usize,
    pub(super) word: &'static str,
    pub(super) amount: String,
    pub(super) at: String,
    pub(super) width: String,
    pub(super) middle: String,
    /// Whether there is room for its number.
    pub(super) numbered: bool,
}

/// A bar.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Bar {
    pub(super) name: String,
    pub(super) code: Option<String>,
    /// The cost of one good chip.
    pub(super) per_chip: String,
    /// The residue's share, or none where nothing was left.
    pub(super) residue: Option<String>,
    /// The middle of the residue, where it is pointed at.
    pub(super) residue_at: String,
    /// Whether its words stand to the left of there.
    pub(super) residue_left: bool,
    /// The parts that are more than 0.
    pub(super) parts: Vec<Part>,
    /// Every part's amount, in order, for the table.
    pub(super) amounts: Vec<String>,
}

/// The bars of a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Stacks {
    /// Bars, the last of them all together.
    pub(super) bars: Vec<Bar>,
    /// What the whole width stands for.
    pub(super) scale: String,
    /// Rows without a good chip, in words.
    pub(super) without: Vec<String>,
}

/// Draws the bars of a report.
///
/// # Errors
/// [`Error::Invalid`] at the very edge of money.
pub(super) fn stacks(report: &ReplicaCost) -> Result<Stacks, Error> {
    let currency = report.currency;
    let rows = || report.rows.iter().chain([&report.total]);
    let longest = rows().filter_map(|row| row.per_good_chip).max();
    let longest = chip_printed(longest.unwrap_or_default(), currency)?;
    let (mut bars, mut without) = (Vec::new(), Vec::new());
    for row in rows() {
        match parts_per_good_chip(row, currency)? {
            Some(parts) => bars.push(bar(row, &parts, longest, currency)?),
            None => without.push(named(&row.key, row.name.as_deref()).0),
        }
    }
    Ok(Stacks {
        bars,
        scale: chip_money(longest, currency)?,
        without,
    })
}

fn bar(
    row: &CostRow,
    parts: &[(Component, Money)],
    longest: Money,
    currency: Currency,
) -> Result<Bar, Error> {
    let (name, code) = named(&row.key, row.name.as_deref());
    let mut bar = Bar {
        name,
        code,
        per_chip: chip_money(row.per_good_chip.unwrap_or_default(), currency)?,
        residue: None,
        residue_at: String::new(),
        residue_left: false,
        parts: Vec::new(),
        amounts: Vec::new(),
    };
    let mut before = 0_i64;
    for (at, component) in ORDER.into_iter().enumerate() {
        let found = parts.iter().find(|(named, _)| *named == component);
        let amount = found.map_or(Money::ZERO, |(_, amount)| *amount);
        let written = chip_money(amount, currency)?;
        bar.amounts.push(written.clone());
        let after = before.saturating_add(amount.micro());
        let (left, right) = (place(before, longest), place(after, longest));
        if component == Component::Residue {
            let share = row.residue_share.filter(|share| *share != Micro::ZERO);
            bar.residue = share.map(|share| per_cent(Some(share)));
            bar.residue_at = percent((left + right) / 2);
            bar.residue_left = left + right > WHOLE;
        }
        if !amount.is_zero() {
            bar.parts.push(Part {
                number: at + 1,
                word: component.as_str(),
                amount: written,
                at: percent(left),
                width: percent(right - left),
                middle: percent((left + right) / 2),
                numbered: right - left >= NUMBERED_FROM,
            });
        }
        before = after;
    }
    Ok(bar)
}

/// Where an amount lies on the scale, in hundredths of a per cent.
fn place(micro: i64, longest: Money) -> i64 {
    let longest = i128::from(longest.micro().max(1));
    let place = i128::from(micro) * i128::from(WHOLE) / longest;
    i64::try_from(place).unwrap_or(WHOLE).clamp(0, WHOLE)
}

/// Hundredths of a per cent as per cent.
fn percent(hundredths: i64) -> String {
    format!("{}.{:02}%", hundredths / 100, hundredths % 100)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::casting::cost::{ComponentAmount, Components};
    use crate::costing::period::Period;
    use crate::costing::replica_cost::grouping::GroupBy;
    use crate::costing::replica_cost::report::{Gathering, Names};

    fn row(key: &str, per_chip: &str, amounts: &[(Component, &str)]) -> CostRow {
        let money = |text: &str| Money::parse(text).unwrap();
        CostRow {
            key: key.to_owned(),
            name: None,
            casts: 1,
            scrapped_casts: 0,
            chips: Micro::from_int(4),
            good_chips: Micro::from_int(4),
            r#yield: None,
            components: amounts
                .iter()
                .map(|(component, amount)| ComponentAmount {
                    component: *component,
                    amount: money(amount),
                })
                .collect(),
            total: Money::ZERO,
            exact_total: Money::ZERO,
            per_good_chip: (per_chip != "0").then(|| money(per_chip)),
            planning_interval: None,
            residue_share: Some(Micro::parse("0.001").unwrap()),
            trim_share: None,
        }
    }

    fn report(rows: Vec<CostRow>, total: CostRow) -> ReplicaCost {
        let euro = Currency::parse("EUR").unwrap();
        let empty = Gathering::new(GroupBy::Recipe).report(
            Period::default(),
            euro,
            &Names::new(),
            (0, Components::default()),
            &[],
        );
        ReplicaCost {
            rows,
            total,
            ..empty.unwrap()
        }
    }

    #[test]
    fn bars_stand_to_one_scale_and_the_residue_is_pointed_at_however_thin() {
        let amounts = [(Component::Chip, "7.99"), (Component::Residue, "0.01")];
        let found = stacks(&report(
            vec![row("A", "2", &amounts), row("B", "1", &amounts)],
            row("total", "1.5", &amounts),
        ));
        let found = found.unwrap();
        assert_eq!(found.scale, "2.0000");
        let widths: Vec<(&str, &str)> = found
            .bars
            .iter()
            .map(|bar| (bar.parts[0].width.as_str(), bar.parts[1].at.as_str()))
            .collect();
        assert_eq!(
            widths,
            [
                ("99.87%", "99.87%"),
                ("49.94%", "49.94%"),
                ("74.90%", "74.90%")
            ]
        );
        for bar in &found.bars {
            assert_eq!(bar.residue.as_deref(), Some("0.1 %"));
            assert!(!bar.residue_at.is_empty() && !bar.parts[1].numbered);
            assert_eq!(bar.amounts.len(), ORDER.len());
        }
        assert_eq!(found.bars[2].name, "all together");
        assert!(found.bars[0].residue_left && !found.bars[1].residue_left);
    }

    #[test]
    fn a_row_without_a_good_chip_is_told_in_words() {
        let amounts = [(Component::Chip, "8")];
        let found = stacks(&report(
            vec![row("A", "0", &amounts)],
            row("total", "0", &amounts),
        ));
        let found = found.unwrap();
        assert_eq!(found.bars, []);
        assert_eq!(found.without, ["A", "all together"]);
    }

    #[test]
    fn every_component_has_its_place_in_the_order_of_the_work() {
        let mut order = ORDER;
        order.sort();
        assert_eq!(order, Component::ALL);
    }
}
