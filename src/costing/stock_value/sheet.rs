//! The columns of the report of the stock's value.

use super::flow::Flow;
use super::report::{PoolRow, StockRow, StockValue};
use crate::base::{Currency, Money, Quantity};
use crate::costing::export::sheet::{Cell, Frame, Tabular};
use crate::costing::period::Period;

const BEFORE: [&str; 6] = ["line", "key", "name", "lots", "quantity", "unit"];
const AFTER: [&str; 2] = ["closing", "exact_closing"];

impl Tabular for StockValue {
    fn title(&self) -> &'static str {
        "stock-value"
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
        let flows = Flow::ALL.map(Flow::as_str);
        BEFORE.into_iter().chain(flows).chain(AFTER).collect()
    }

    fn records(&self) -> usize {
        self.rows.len() + 1 + self.pools.len()
    }

    fn record(&self, at: usize) -> Vec<Cell> {
        let rows = self.rows.len();
        match self.rows.get(at) {
            Some(row) => cells("row", row, self.currency),
            None if at == rows => cells("total", &self.total, self.currency),
            None => self.pools.get(at - rows - 1).map_or_else(Vec::new, pool),
        }
    }
}

fn cells(line: &str, row: &StockRow, currency: Currency) -> Vec<Cell> {
    let mut cells = vec![
        Cell::text(line),
        Cell::text(&row.key),
        Cell::text_if(row.name.as_deref()),
        Cell::Count(row.lots),
        Cell::decimal(row.quantity.map(Quantity::value)),
        Cell::text_if(row.unit.as_deref()),
    ];
    let flows = row.flows.iter();
    cells.extend(flows.map(|flow| Cell::Amount(flow.amount, currency)));
    cells.push(Cell::Amount(row.closing, currency));
    cells.push(Cell::Decimal(row.exact_closing.value()));
    cells
}

/// A pool: what filled it stands under `received`, what casts drew under `used`, what was given up under `lost`.
fn pool(pool: &PoolRow) -> Vec<Cell> {
    let exact = |amount: Money| Cell::Decimal(amount.value());
    vec![
        Cell::text("pool"),
        Cell::text(&pool.kind),
        Cell::Blank,
        Cell::Blank,
        Cell::Blank,
        Cell::Blank,
        exact(pool.opening),
        exact(pool.filled),
        Cell::Blank,
        exact(pool.drawn),
        exact(pool.wasted),
        Cell::Blank,
        exact(pool.closing),
    ]
}
