//! A table of typed cells with a frame that says what it is about.
//!
//! Invariants: every record has one cell for each column; records are made one at a time, so that a long table need not
//! be in memory as a file. Deliberately absent: how cells are written.

use chrono::NaiveDate;

use crate::base::{Currency, Micro, Money};
use crate::costing::period::Period;

/// A cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// Text of any kind.
    Text(String),
    /// A whole number.
    Count(usize),
    /// A decimal.
    Decimal(Micro),
    /// An amount with the digits of its currency's minor unit.
    Amount(Money, Currency),
    /// Nothing.
    Blank,
}

impl Cell {
    /// A text.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    /// A text, or nothing.
    pub fn text_if(text: Option<&str>) -> Self {
        text.map_or(Self::Blank, Self::text)
    }

    /// A decimal, or nothing.
    pub fn decimal(value: Option<impl Into<Micro>>) -> Self {
        value.map_or(Self::Blank, |value| Self::Decimal(value.into()))
    }

    /// A day, or nothing.
    pub fn day(day: Option<NaiveDate>) -> Self {
        day.map_or(Self::Blank, |day| Self::text(day.to_string()))
    }
}

/// What every record of a report is about: it stands beside each line of a CSV, so that a line that is copied out still
/// tells, and on a sheet of its own in a spreadsheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<'a> {
    /// The days, both included.
    pub period: Period,
    /// By what the rows are grouped.
    pub group_by: &'a str,
    /// The base currency.
    pub currency: &'a str,
    /// How amounts were rounded.
    pub rounding: &'a str,
}

/// The names of the frame's cells.
pub const FRAME: [&str; 5] = ["from", "to", "group_by", "currency", "rounding"];

impl Frame<'_> {
    /// The frame as cells, in the order of [`FRAME`].
    #[must_use]
    pub fn cells(&self) -> [Cell; 5] {
        [
            Cell::day(self.period.from()),
            Cell::day(self.period.to()),
            Cell::text(self.group_by),
            Cell::text(self.currency),
            Cell::text(self.rounding),
        ]
    }
}

/// What can be written as a table.
pub trait Tabular: Send + Sync {
    /// What the report is called, such as `replica-cost`; at most 31 characters, none of `[]:*?/\`.
    fn title(&self) -> &'static str;
    /// What the records are about.
    fn frame(&self) -> Frame<'_>;
    /// The names of the columns, without the frame's.
    fn columns(&self) -> Vec<&'static str>;
    /// How many records there are.
    fn records(&self) -> usize;
    /// The record at a place, from 0, one cell for each column; blank cells past the end.
    fn record(&self, at: usize) -> Vec<Cell>;
}

/// The name of a report's file, without its ending.
///
/// ```
/// use heeltap::costing::export::sheet::file_stem;
/// use heeltap::costing::period::Period;
/// assert_eq!(file_stem("waste", "grant", Period::default()), "waste-by-grant-all-time");
/// ```
#[must_use]
pub fn file_stem(title: &str, group_by: &str, period: Period) -> String {
    format!("{title}-by-{group_by}-{}", period.file_part())
}
