//! The report as tables: the figures of each row, and its amounts by component.
//!
//! Invariants: rows, amounts and sentences are those of the report, in its order, so that what is printed adds up; a figure
//! that does not exist is a dash. Deliberately absent: sums.

use super::figures::{NONE, chip_money, money, per_cent};
use crate::base::{Currency, Error};
use crate::casting::cost::Component;
use crate::catalogue::UNASSIGNED;
use crate::costing::replica_cost::interval::PlanningInterval;
use crate::costing::replica_cost::report::{CostRow, ReplicaCost, TOTAL};

/// A row as it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// What it is about, in words.
    pub(super) name: String,
    /// Its code, where that is not its name.
    pub(super) code: Option<String>,
    pub(super) casts: usize,
    /// Casts without a good chip.
    pub(super) scrapped: usize,
    pub(super) chips: String,
    pub(super) good: String,
    pub(super) chip_yield: String,
    pub(super) total: String,
    pub(super) per_chip: String,
    pub(super) interval: String,
    pub(super) residue: String,
    pub(super) trim: String,
    /// Amounts by component, in their order.
    pub(super) amounts: Vec<String>,
}

/// The report as it is shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CostTable {
    pub(super) rows: Vec<Row>,
    pub(super) total: Row,
    /// The work in progress, in a sentence.
    pub(super) in_progress: String,
    /// What price corrections laid on casts: who, and how much; the last line is their sum.
    pub(super) variances: Vec<(String, String)>,
    /// How it was rounded.
    pub(super) rounding: String,
}

/// Names of the components as the report has them, in its order.
pub(super) fn component_names() -> [&'static str; 10] {
    Component::ALL.map(Component::as_str)
}

/// What a row is about: its name, and its code where that is another word.
pub(super) fn named(key: &str, name: Option<&str>) -> (String, Option<String>) {
    match (key, name) {
        (TOTAL, _) => ("all together".to_owned(), None),
        (UNASSIGNED, _) => ("charged to nobody".to_owned(), None),
        (key, Some(name)) => (name.to_owned(), Some(key.to_owned())),
        (key, None) => (key.to_owned(), None),
    }
}

/// The tables of a report.
///
/// # Errors
/// [`Error::Invalid`] at the very edge of money.
pub(super) fn cost_table(report: &ReplicaCost) -> Result<CostTable, Error> {
    let currency = report.currency;
    let rows = report.rows.iter().map(|cost| row(cost, currency));
    let variances = &report.price_variance;
    let mut lines: Vec<(String, String)> = variances
        .rows
        .iter()
        .map(|line| {
            let (name, code) = named(&line.key, line.name.as_deref());
            let name = code.map_or(name.clone(), |code| format!("{name} ({code})"));
            (name, money(line.total, currency))
        })
        .collect();
    if !lines.is_empty() {
        lines.push((named(TOTAL, None).0, money(variances.total, currency)));
    }
    Ok(CostTable {
        rows: rows.collect::<Result<_, _>>()?,
        total: row(&report.total, currency)?,
        in_progress: in_progress(report),
        variances: lines,
        rounding: report.rounding.clone(),
    })
}

fn row(cost: &CostRow, currency: Currency) -> Result<Row, Error> {
    let (name, code) = named(&cost.key, cost.name.as_deref());
    let per_chip = cost.per_good_chip;
    let interval = cost.planning_interval.as_ref();
    Ok(Row {
        name,
        code,
        casts: cost.casts,
        scrapped: cost.scrapped_casts,
        chips: cost.chips.to_string(),
        good: cost.good_chips.to_string(),
        chip_yield: per_cent(cost.r#yield),
        total: money(cost.total, currency),
        per_chip: per_chip.map_or(Ok(NONE.to_owned()), |cost| chip_money(cost, currency))?,
        interval: interval.map_or(Ok(NONE.to_owned()), |found| ends(found, currency))?,
        residue: per_cent(cost.residue_share),
        trim: per_cent(cost.trim_share),
        amounts: cost
            .components
            .iter()
            .map(|part| money(part.amount, currency))
            .collect(),
    })
}

/// The ends of an interval, such as `1.65 to 1.89`.
pub(super) fn ends(interval: &PlanningInterval, currency: Currency) -> Result<String, Error> {
    let low = chip_money(interval.low, currency)?;
    Ok(format!("{low} to {}", chip_money(interval.high, currency)?))
}

fn in_progress(report: &ReplicaCost) -> String {
    let progress = &report.work_in_progress;
    if progress.casts == 0 {
        return "No cast is poured and not demoulded by the last of these days.".to_owned();
    }
    let parts = progress.components.iter();
    let parts: Vec<String> = parts
        .filter(|part| !part.amount.is_zero())
        .map(|part| {
            let amount = money(part.amount, report.currency);
            format!("{} {amount}", part.component.as_str())
        })
        .collect();
    let (casts, are) = match progress.casts {
        1 => ("cast", "is"),
        _ => ("casts", "are"),
    };
    let mut sentence = format!(
        "{} {casts} {are} poured and not demoulded by the last of these days, in no row above: {} {}",
        progress.casts,
        money(progress.total, report.currency),
        report.currency
    );
    if !parts.is_empty() {
        sentence.push_str(&format!(" ({})", parts.join(", ")));
    }
    sentence.push('.');
    sentence
}

#[cfg(test)]
mod tests {
    use super::named;

    #[test]
    fn a_row_is_named_in_words() {
        let text = |key, name| named(key, name);
        assert_eq!(text("total", None), ("all together".into(), None));
        assert_eq!(text("unassigned", None), ("charged to nobody".into(), None));
        assert_eq!(
            text("G-1", Some("Larvae")),
            ("Larvae".into(), Some("G-1".into()))
        );
        assert_eq!(text("2026-03", None), ("2026-03".into(), None));
    }
}
