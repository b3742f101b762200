//! The columns of the report of what replicas cost.
//!
//! Invariants: every record says what it is (`row`, `total`, `work_in_progress`,
//! `price_variance`); amounts have the digits of the minor
//! unit; figures that do not exist are blank, never 0.

use super::report::{CostRow, ReplicaCost, TOTAL, WorkInProgress};
use crate::base::Currency;
use crate::casting::cost::{Component, ComponentAmount};
use crate::costing::export::sheet::{Cell, Frame, Tabular};
use crate::costing::period::Period;

/// The columns before the components.
const BEFORE: [&str; 8] = [
    "line",
    "key",
    "name",
    "casts",
    "scrapped_casts",
    "chips",
    "good_chips",
    "yield",
];

/// The columns after the components.
const AFTER: [&str; 9] = [
    "total",
    "exact_total",
    "per_good_chip",
    "interval_low",
    "interval_high",
    "interval_level",
    "interval_casts",
    "residue_share",
    "trim_share",
];

impl Tabular for ReplicaCost {
    fn title(&self) -> &'static str {
        "replica-cost"
    }

    fn frame(&self) -> Frame<'_> {
        Frame {
            period: Period::between(self.from, self.to),
            group_by: self.group_by.as_str(),
            currency: self.currency.as_str(),
            rounding: &self.rounding,
        }
    }

    fn columns(&self) -> Vec<&'static str> {
        let components = Component::ALL.map(Component::as_str);
        BEFORE.into_iter().chain(components).chain(AFTER).collect()
    }

    fn records(&self) -> usize {
        let variances = &self.price_variance.rows;
        let lines = if variances.is_empty() {
            0
        } else {
            variances.len() + 1
        };
        self.rows.len() + 2 + lines
    }

    fn record(&self, at: usize) -> Vec<Cell> {
        match self.rows.get(at) {
            Some(row) => cost_row("row", row, self.currency),
            None if at == self.rows.len() => cost_row("total", &self.total, self.currency),
            None if at == self.rows.len() + 1 => in_progress(&self.work_in_progress, self.currency),
            None => self.variance(at - self.rows.len() - 2),
        }
    }
}

impl ReplicaCost {
    /// A line of the price variances, the last of them their total.
    fn variance(&self, at: usize) -> Vec<Cell> {
        let variances = &self.price_variance;
        let (line, key, name, total, exact) = match variances.rows.get(at) {
            Some(row) => {
                let name = row.name.as_deref();
                (
                    "price_variance",
                    row.key.as_str(),
                    name,
                    row.total,
                    row.exact_total,
                )
            }
            None => {
                let (total, exact) = (variances.total, variances.exact_total);
                ("price_variance_total", TOTAL, None, total, exact)
            }
        };
        let mut cells = vec![Cell::text(line), Cell::text(key), Cell::text_if(name)];
        let before = BEFORE.len() + Component::ALL.len();
        cells.extend(std::iter::repeat_n(Cell::Blank, before - cells.len()));
        cells.extend([
            Cell::Amount(total, self.currency),
            Cell::Decimal(exact.value()),
        ]);
        cells.extend(std::iter::repeat_n(Cell::Blank, AFTER.len() - 2));
        cells
    }
}

fn cost_row(line: &str, row: &CostRow, currency: Currency) -> Vec<Cell> {
    let interval = row.planning_interval.as_ref();
    let mut cells = vec![
        Cell::text(line),
        Cell::text(&row.key),
        row.name.as_ref().map_or(Cell::Blank, Cell::text),
        Cell::Count(row.casts),
        Cell::Count(row.scrapped_casts),
        Cell::Decimal(row.chips),
        Cell::Decimal(row.good_chips),
        Cell::decimal(row.r#yield),
    ];
    cells.extend(amounts(&row.components, currency));
    cells.extend([
        Cell::Amount(row.total, currency),
        Cell::Decimal(row.exact_total.value()),
        Cell::decimal(row.per_good_chip),
        Cell::decimal(interval.map(|interval| interval.low)),
        Cell::decimal(interval.map(|interval| interval.high)),
        Cell::decimal(interval.map(|interval| interval.level)),
        interval.map_or(Cell::Blank, |interval| Cell::Count(interval.casts)),
        Cell::decimal(row.residue_share),
        Cell::decimal(row.trim_share),
    ]);
    cells
}

fn in_progress(progress: &WorkInProgress, currency: Currency) -> Vec<Cell> {
    let mut cells = vec![
        Cell::text("work_in_progress"),
        Cell::Blank,
        Cell::Blank,
        Cell::Count(progress.casts),
    ];
    cells.extend(std::iter::repeat_n(Cell::Blank, BEFORE.len() - cells.len()));
    cells.extend(amounts(&progress.components, currency));
    cells.extend([
        Cell::Amount(progress.total, currency),
        Cell::Decimal(progress.exact_total.value()),
    ]);
    cells.extend(std::iter::repeat_n(Cell::Blank, 7));
    cells
}

fn amounts(components: &[ComponentAmount], currency: Currency) -> impl Iterator<Item = Cell> + '_ {
    components
        .iter()
        .map(move |component| Cell::Amount(component.amount, currency))
}
