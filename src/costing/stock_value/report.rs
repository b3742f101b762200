//! The report of what the stock is worth: rows from lots, a total, and the pools.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::flow::{FLOWS, Flow, Flows};
use super::grouping::{StockBy, StockKey};
use crate::base::{Currency, Error, Money, Quantity};
use crate::catalogue::UNASSIGNED;
use crate::costing::period::Period;
use crate::costing::replica_cost::report::TOTAL;
use crate::costing::rounding::{PrintedRow, print_table};

/// What the stock is worth at the end of a period, and how it came to that.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StockValue {
    /// The first day; null when the period is open to the past, and the opening value 0.
    pub from: Option<NaiveDate>,
    /// The last day; null when the period is open to the future.
    pub to: Option<NaiveDate>,
    /// By what the rows are grouped.
    pub group_by: StockBy,
    /// The base currency, in which every amount is.
    pub currency: Currency,
    /// How the amounts were rounded.
    pub rounding: String,
    /// The rows, by key; lots that no grant paid for come last.
    pub rows: Vec<StockRow>,
    /// All rows together.
    pub total: StockRow,
    /// Value between the stock and the casts: coats on moulds, and moulds themselves. In no sum above.
    pub pools: Vec<PoolRow>,
}

/// A row of the report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StockRow {
    /// A code, a lot's id, a month (`YYYY-MM`), `unassigned`, or `total`.
    pub key: String,
    /// The name of the material or grant, or a lot's material and code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Lots with a value, a quantity or a change of either in the period.
    pub lots: usize,
    /// What was on hand at the end, in `unit`; only by material or lot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub quantity: Option<Quantity>,
    /// The unit of that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The opening value and what changed it; what left is below 0.
    pub flows: Vec<FlowAmount>,
    /// The closing value: the sum of the amounts.
    pub closing: Money,
    /// The closing value before rounding, to the millionth.
    pub exact_closing: Money,
}

/// A line of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct FlowAmount {
    /// Which.
    pub flow: Flow,
    /// The amount, rounded so that rows and columns add up.
    pub amount: Money,
    /// Before rounding, to the millionth.
    pub exact: Money,
}

/// Value that has left the stock for moulds, or never was in it, and has not reached casts yet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PoolRow {
    /// `coat` or `mold`.
    pub kind: String,
    /// Before the first day, to the millionth.
    pub opening: Money,
    /// What treatments, or moulds that were made, put in.
    pub filled: Money,
    /// What casts drew; 0 or less.
    pub drawn: Money,
    /// What was given up unused; 0 or less.
    pub wasted: Money,
    /// At the end: the sum.
    pub closing: Money,
}

/// What gathers in a row.
#[derive(Debug, Clone, Default)]
pub struct StockTally {
    /// Lots.
    pub lots: usize,
    /// On hand at the end.
    pub quantity: Quantity,
    /// Values.
    pub flows: Flows,
}

/// How a row is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StockLabel {
    /// Its key.
    pub key: String,
    /// Its name.
    pub name: Option<String>,
    /// The unit of its quantity, where all of it has one.
    pub unit: Option<String>,
}

/// The report of rows that were gathered, each with its label.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves the range of money.
///
/// ```
/// use heeltap::base::Currency;
/// use heeltap::costing::period::Period;
/// use heeltap::costing::stock_value::{grouping::StockBy, report::stock_report};
/// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
/// let report = stock_report(StockBy::Lot, Period::default(), euro, vec![], vec![])?;
/// assert_eq!((report.rows.len(), report.total.closing.to_string()), (0, "0".into()));
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn stock_report(
    by: StockBy,
    period: Period,
    currency: Currency,
    mut gathered: Vec<(bool, StockLabel, StockTally)>,
    pools: Vec<PoolRow>,
) -> Result<StockValue, Error> {
    if by != StockBy::Lot {
        gathered.sort_by(|a, b| (a.0, &a.1.key).cmp(&(b.0, &b.1.key)));
    }
    let exact: Vec<_> = gathered.iter().map(|row| row.2.flows.in_order()).collect();
    let table = print_table(&exact, currency)?;
    let mut all = StockTally::default();
    let mut rows = Vec::with_capacity(gathered.len());
    for ((_, label, tally), printed) in gathered.into_iter().zip(&table.rows) {
        all.lots += tally.lots;
        all.flows.add_all(&tally.flows)?;
        rows.push(row(label, &tally, printed)?);
    }
    let label = StockLabel {
        key: TOTAL.to_owned(),
        name: None,
        unit: None,
    };
    Ok(StockValue {
        from: period.from(),
        to: period.to(),
        group_by: by,
        currency,
        rounding: rounding_rule(currency),
        rows,
        total: row(label, &all, &table.total)?,
        pools,
    })
}

fn row(
    label: StockLabel,
    tally: &StockTally,
    printed: &PrintedRow<FLOWS>,
) -> Result<StockRow, Error> {
    let exact = tally.flows.in_order();
    Ok(StockRow {
        key: label.key,
        name: label.name,
        lots: tally.lots,
        quantity: label.unit.is_some().then_some(tally.quantity),
        unit: label.unit,
        flows: Flow::ALL
            .into_iter()
            .zip(printed.cells.into_iter().zip(exact))
            .map(|(flow, (amount, exact))| FlowAmount {
                flow,
                amount,
                exact,
            })
            .collect(),
        closing: printed.total,
        exact_closing: tally.flows.closing()?,
    })
}

/// The key of a row that is no code.
pub(in crate::costing) fn key_of(key: StockKey) -> String {
    match key {
        StockKey::Id(id) => id.to_string(),
        StockKey::Month(year, month) => format!("{year:04}-{month:02}"),
        StockKey::Unassigned => UNASSIGNED.to_owned(),
    }
}

/// Rows that were gathered, by key.
pub(in crate::costing) type StockRows = BTreeMap<StockKey, StockTally>;

/// The rule by which amounts are rounded, in words.
fn rounding_rule(currency: Currency) -> String {
    let unit = currency.format(Money::from_micro(currency.minor_unit_micro()));
    format!(
        "amounts are rounded to {unit} {currency}: the closing total half to even, then the rows, then their lines, by \
         largest remainder, so that rows and columns add up; exact values and pools are given to the millionth"
    )
}
