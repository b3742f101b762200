//! A table of the demo's files: cells by column, read into types.
//!
//! Invariant: a cell that cannot be read is named by file, line and column, with what would be right. Deliberately
//! absent: which columns a file has.

use super::day::Day;
use crate::base::{Code, Micro};

/// A CSV file of ours.
pub(super) struct Sheet {
    pub(super) name: &'static str,
    pub(super) header: csv::StringRecord,
    pub(super) records: Vec<csv::StringRecord>,
}

/// A row of it.
pub(super) struct Row<'a> {
    pub(super) sheet: &'a Sheet,
    pub(super) record: &'a csv::StringRecord,
    pub(super) line: u64,
}

impl Sheet {
    pub(super) fn read(name: &'static str, text: &str) -> Result<Self, String> {
        let wrong = |e: csv::Error| format!("seeds-demo/{name}: {e}");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let header = reader.headers().map_err(wrong)?.clone();
        let records = reader.records().collect::<Result<_, _>>().map_err(wrong)?;
        Ok(Self {
            name,
            header,
            records,
        })
    }

    pub(super) fn row<'a>(&'a self, record: &'a csv::StringRecord) -> Row<'a> {
        let line = record.position().map_or(0, csv::Position::line);
        Row {
            sheet: self,
            record,
            line,
        }
    }

    pub(super) fn each<T>(
        &self,
        read: fn(&Row<'_>) -> Result<T, String>,
    ) -> Result<Vec<T>, String> {
        self.records
            .iter()
            .map(|record| read(&self.row(record)))
            .collect()
    }
}

impl Row<'_> {
    pub(super) fn wrong(&self, column: &str, detail: &str) -> String {
        let cell = self.cell(column).unwrap_or_default();
        format!(
            "seeds-demo/{}, line {}, {column} `{cell}`: {detail}",
            self.sheet.name, self.line
        )
    }

    /// A cell; none when it is blank.
    pub(super) fn cell(&self, column: &str) -> Option<&str> {
        let at = self.sheet.header.iter().position(|name| name == column)?;
        self.record
            .get(at)
            .map(str::trim)
            .filter(|cell| !cell.is_empty())
    }

    pub(super) fn text(&self, column: &str) -> Result<&str, String> {
        self.cell(column)
            .ok_or_else(|| self.wrong(column, "it is blank"))
    }

    pub(super) fn day(&self, column: &str) -> Result<Day, String> {
        Day::parse(self.text(column)?).map_err(|e| self.wrong(column, &e))
    }

    pub(super) fn day_if(&self, column: &str) -> Result<Option<Day>, String> {
        self.cell(column).map(|_| self.day(column)).transpose()
    }

    pub(super) fn code(&self, column: &str) -> Result<Code, String> {
        Code::parse(self.text(column)?).map_err(|e| self.wrong(column, &e.to_string()))
    }

    pub(super) fn number(&self, column: &str) -> Result<u32, String> {
        let cell = self.text(column)?;
        cell.parse()
            .map_err(|_| self.wrong(column, "it is no whole number"))
    }

    pub(super) fn micro(&self, column: &str) -> Result<Micro, String> {
        Micro::parse(self.text(column)?).map_err(|e| self.wrong(column, &e.to_string()))
    }

    /// The items of a cell, separated by semicolons; none when it is blank.
    pub(super) fn list<T>(
        &self,
        column: &str,
        read: impl Fn(&str) -> Result<T, &'static str>,
    ) -> Result<Vec<T>, String> {
        let items = self
            .cell(column)
            .into_iter()
            .flat_map(|cell| cell.split(';'));
        items
            .map(|item| read(item.trim()).map_err(|e| self.wrong(column, e)))
            .collect()
    }
}
