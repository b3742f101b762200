//! The columns of the residue report: its rows, the total, and what was not weighed. Weighings and drain times are in the
//! JSON alone.
//!
//! Invariant: figures that do not exist are blank, never 0.

use super::view::{ResidueReport, ResidueRow};
use crate::base::Quantity;
use crate::costing::export::sheet::{Cell, Frame, Tabular};
use crate::costing::period::Period;

const COLUMNS: [&str; 21] = [
    "line",
    "key",
    "name",
    "cup",
    "elastomer",
    "casts",
    "cups_weighed",
    "mixed_g",
    "film_g",
    "expected_g",
    "planned_g",
    "weighed_g",
    "weighed_over_expected",
    "mean_absolute_error_g",
    "within_planned_share",
    "residue_share",
    "residue_value",
    "k_mean",
    "k_sd",
    "observations",
    "outliers",
];

impl Tabular for ResidueReport {
    fn title(&self) -> &'static str {
        "residue"
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
        COLUMNS.to_vec()
    }

    fn records(&self) -> usize {
        self.rows.len() + 2
    }

    fn record(&self, at: usize) -> Vec<Cell> {
        match self.rows.get(at) {
            Some(row) => cells("row", row),
            None if at == self.rows.len() => cells("total", &self.total),
            None => {
                let unweighed = &self.without_weighing;
                let mut record: Vec<Cell> = vec![Cell::Blank; COLUMNS.len()];
                record[0] = Cell::text("without_weighing");
                record[5] = Cell::Count(unweighed.casts);
                record[16] = Cell::Decimal(unweighed.residue_value.value());
                record
            }
        }
    }
}

fn cells(line: &str, row: &ResidueRow) -> Vec<Cell> {
    let text = |text: Option<&str>| text.map_or(Cell::Blank, Cell::text);
    let mass = |mass: Quantity| Cell::Decimal(mass.value());
    vec![
        Cell::text(line),
        Cell::text(&row.key),
        text(row.name.as_deref()),
        text(row.cup.as_ref().map(crate::base::Code::as_str)),
        text(row.elastomer.as_ref().map(crate::base::Code::as_str)),
        Cell::Count(row.casts),
        Cell::Count(row.cups_weighed),
        mass(row.mixed_g),
        mass(row.film_g),
        mass(row.expected_g),
        mass(row.planned_g),
        mass(row.weighed_g),
        Cell::decimal(row.weighed_over_expected),
        Cell::decimal(row.mean_absolute_error_g),
        Cell::decimal(row.within_planned_share),
        Cell::decimal(row.residue_share),
        Cell::Decimal(row.residue_value.value()),
        Cell::decimal(row.k_mean),
        Cell::decimal(row.k_sd),
        row.observations
            .map_or(Cell::Blank, |count| Cell::Count(count as usize)),
        Cell::Count(row.outliers),
    ]
}
