//! The columns of the report of waste.

use super::category::Category;
use super::report::{WasteReport, WasteRow};
use super::stranded::KitPart;
use crate::base::Currency;
use crate::costing::export::sheet::{Cell, Frame, Tabular};
use crate::costing::period::Period;

const BEFORE: [&str; 5] = ["line", "key", "name", "casts", "spent_on_casts"];
const AFTER: [&str; 4] = ["total", "exact_total", "exact_in_casts", "waste_share"];

impl Tabular for WasteReport {
    fn title(&self) -> &'static str {
        "waste"
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
        let kinds = Category::ALL.map(Category::as_str);
        BEFORE.into_iter().chain(kinds).chain(AFTER).collect()
    }

    fn records(&self) -> usize {
        self.rows.len() + 1 + self.stranded_on_the_shelf.len()
    }

    fn record(&self, at: usize) -> Vec<Cell> {
        let rows = self.rows.len();
        match self.rows.get(at) {
            Some(row) => cells("row", row, self.currency),
            None if at == rows => cells("total", &self.total, self.currency),
            None => self.stranded(at - rows - 1),
        }
    }
}

impl WasteReport {
    /// What is on the shelf without its partner: its material under the key, its kit lot under the name, its value under
    /// the exact total.
    fn stranded(&self, at: usize) -> Vec<Cell> {
        let mut cells = vec![Cell::Blank; BEFORE.len() + Category::ALL.len() + AFTER.len()];
        let Some(part) = self.stranded_on_the_shelf.get(at) else {
            return cells;
        };
        let left = match part.part {
            KitPart::Base => "base",
            KitPart::CuringAgent => "curing agent",
        };
        cells[0] = Cell::text("stranded_on_the_shelf");
        cells[1] = Cell::text(part.material.as_str());
        cells[2] = Cell::text(match &part.kit_lot {
            Some(kit_lot) => format!("{left} of kit lot {kit_lot}: {} g", part.quantity),
            None => format!("{left} of {}: {} g", part.elastomer, part.quantity),
        });
        let at = BEFORE.len() + Category::ALL.len() + 1;
        cells[at] = Cell::Decimal(part.value.value());
        cells
    }
}

fn cells(line: &str, row: &WasteRow, currency: Currency) -> Vec<Cell> {
    let mut cells = vec![
        Cell::text(line),
        Cell::text(&row.key),
        Cell::text_if(row.name.as_deref()),
        Cell::Count(row.casts),
        Cell::Decimal(row.spent_on_casts.value()),
    ];
    cells.extend(
        row.amounts
            .iter()
            .map(|kind| Cell::Amount(kind.amount, currency)),
    );
    cells.extend([
        Cell::Amount(row.total, currency),
        Cell::Decimal(row.exact_total.value()),
        Cell::Decimal(row.exact_in_casts.value()),
        Cell::decimal(row.waste_share),
    ]);
    cells
}
