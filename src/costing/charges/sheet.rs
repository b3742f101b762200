//! The columns of the statement of charges.

use super::statement::{ChargeRow, ChargeStatement, CrossCharge, Line};
use crate::base::Currency;
use crate::costing::export::sheet::{Cell, Frame, Tabular};
use crate::costing::period::Period;

const BEFORE: [&str; 4] = ["line", "key", "name", "casts"];
const AFTER: [&str; 3] = ["to_pay", "exact_to_pay", "exact_charged"];

impl Tabular for ChargeStatement {
    fn title(&self) -> &'static str {
        "charges"
    }

    fn frame(&self) -> Frame<'_> {
        Frame {
            period: Period::between(self.from, self.to),
            group_by: &self.group_by,
            currency: self.currency.as_str(),
            rounding: &self.rounding,
        }
    }

    fn columns(&self) -> Vec<&'static str> {
        let lines = Line::ALL.map(Line::as_str);
        BEFORE.into_iter().chain(lines).chain(AFTER).collect()
    }

    fn records(&self) -> usize {
        self.rows.len() + 1 + self.cross_charges.len()
    }

    fn record(&self, at: usize) -> Vec<Cell> {
        let rows = self.rows.len();
        match self.rows.get(at) {
            Some(row) => cells("row", row, self.currency),
            None if at == rows => cells("total", &self.total, self.currency),
            None => self
                .cross_charges
                .get(at - rows - 1)
                .map_or_else(Vec::new, |cross| crossed(cross, self.currency)),
        }
    }
}

fn cells(line: &str, row: &ChargeRow, currency: Currency) -> Vec<Cell> {
    let mut cells = vec![
        Cell::text(line),
        Cell::text(&row.key),
        Cell::text_if(row.name.as_deref()),
        Cell::Count(row.casts),
    ];
    let lines = row.lines.iter();
    cells.extend(lines.map(|line| Cell::Amount(line.amount, currency)));
    cells.extend([
        Cell::Amount(row.to_pay, currency),
        Cell::Decimal(row.exact_to_pay.value()),
        Cell::Decimal(row.exact_charged.value()),
    ]);
    cells
}

/// Who owes under the key, to whom under the name, how much under what is to pay.
fn crossed(cross: &CrossCharge, currency: Currency) -> Vec<Cell> {
    let mut cells = vec![
        Cell::text("cross_charge"),
        Cell::text(&cross.from),
        Cell::text(&cross.to),
    ];
    let before = BEFORE.len() + Line::ALL.len();
    cells.extend(std::iter::repeat_n(Cell::Blank, before - cells.len()));
    cells.extend([
        Cell::Amount(cross.amount, currency),
        Cell::Decimal(cross.exact.value()),
        Cell::Blank,
    ]);
    cells
}
