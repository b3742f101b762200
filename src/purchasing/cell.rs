//! Reading the cells of one row while collecting everything that is wrong with them.
//!
//! Invariants: a reader method returns `None` only for a blank cell or with an error reported; a value is
//! repeated in an error once, cut. Text is kept literally (a cell that begins with `=` is only dangerous
//! when it is exported, and is escaped there), but for line breaks, which become blanks. Deliberately
//! absent: which columns there are.

use std::fmt::Display;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::csv_file::{CellError, Row};
use super::date::read_date;
use super::number::{DecimalMark, plain_decimal, read_number};
use super::rate::{Quote, Rate};
use crate::base::{Code, Currency, Micro, Money};

/// Something about a cell that was accepted but should be looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CellWarning {
    /// The column.
    pub column: String,
    /// What stands there, cut if long.
    pub value: String,
    /// What was noticed, and how it was read.
    pub detail: String,
}

/// Reads the cells of one row.
pub(super) struct Reader<'a> {
    row: Row<'a>,
    decimal: DecimalMark,
    errors: Vec<CellError>,
    warnings: Vec<CellWarning>,
}

/// Characters that are not seen but change what is seen: bidirectional controls and zero-width ones.
fn is_invisible(c: char) -> bool {
    matches!(
        c,
        '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}' | '\u{2066}'..='\u{2069}' | '\u{feff}'
    )
}

impl<'a> Reader<'a> {
    pub(super) fn new(row: Row<'a>, decimal: DecimalMark) -> Reader<'a> {
        Reader {
            row,
            decimal,
            errors: Vec::new(),
            warnings: Vec::new(),
        }
    }

    pub(super) fn finish(self) -> (Vec<CellError>, Vec<CellWarning>) {
        (self.errors, self.warnings)
    }

    pub(super) fn is_blank(&self, column: &str) -> bool {
        self.row.get(column).is_empty()
    }

    pub(super) fn fail(&mut self, column: &str, detail: impl Into<String>) {
        let error = CellError::new(column, self.row.get(column), detail);
        self.errors.push(error);
    }

    pub(super) fn warn(&mut self, column: &str, detail: impl Into<String>) {
        // The same cut as for errors.
        let CellError {
            column,
            value,
            detail,
        } = CellError::new(column, self.row.get(column), detail);
        self.warnings.push(CellWarning {
            column,
            value,
            detail,
        });
    }

    /// Reports an error whose text continues the value.
    fn fail_value(&mut self, column: &str, error: impl Display) {
        let shown = CellError::new(column, self.row.get(column), "").value;
        self.fail(column, format!("\"{shown}\" {error}"));
    }

    /// Free text: literal, with line breaks and tabs as blanks, without control characters.
    pub(super) fn text(&mut self, column: &str, max_chars: usize) -> Option<String> {
        let cell = self.row.get(column);
        if cell.is_empty() {
            return None;
        }
        let folded = cell.replace("\r\n", " ").replace(['\n', '\r', '\t'], " ");
        if folded != cell {
            self.warn(column, "has a line break or tab, which was read as a blank");
        }
        if let Some(control) = folded.chars().find(|c| c.is_control()) {
            let code = u32::from(control);
            self.fail(
                column,
                format!("has the control character U+{code:04X}; remove it"),
            );
            return None;
        }
        let length = folded.chars().count();
        if length > max_chars {
            self.fail(
                column,
                format!("is {length} characters long; at most {max_chars} are kept"),
            );
            return None;
        }
        if let Some(hidden) = folded.chars().find(|c| is_invisible(*c)) {
            let code = u32::from(hidden);
            let detail = format!(
                "has the invisible character U+{code:04X}, so that it may not be what it looks like"
            );
            self.warn(column, detail);
        }
        if folded.contains('\u{fffd}') {
            self.warn(
                column,
                "has U+FFFD, which stands for a letter that was lost before the file was sent",
            );
        }
        Some(folded)
    }

    pub(super) fn needed_text(&mut self, column: &str, max_chars: usize) -> Option<String> {
        if self.is_blank(column) {
            self.fail(
                column,
                format!("must not be blank: write 1 to {max_chars} characters"),
            );
        }
        self.text(column, max_chars)
    }

    pub(super) fn code(&mut self, column: &str) -> Option<Code> {
        let cell = self.row.get(column);
        if cell.is_empty() {
            return None;
        }
        Code::parse(cell)
            .map_err(|error| self.fail(column, error.to_string()))
            .ok()
    }

    pub(super) fn needed_code(&mut self, column: &str) -> Option<Code> {
        if self.is_blank(column) {
            self.fail(
                column,
                "must not be blank: write the code of a material or kit",
            );
        }
        self.code(column)
    }

    pub(super) fn date(&mut self, column: &str) -> Option<NaiveDate> {
        let cell = self.row.get(column);
        if cell.is_empty() {
            return None;
        }
        read_date(cell)
            .map_err(|error| self.fail_value(column, error))
            .ok()
    }

    /// A number of zero or more.
    pub(super) fn number(&mut self, column: &str) -> Option<Micro> {
        let cell = self.row.get(column);
        if cell.is_empty() {
            return None;
        }
        match read_number(cell, self.decimal) {
            Ok(read) => {
                if let Some(warning) = read.warning {
                    self.warn(column, warning);
                }
                Some(read.value)
            }
            Err(error) => {
                self.fail_value(column, error);
                None
            }
        }
    }

    /// A whole number from 1 to `max`.
    pub(super) fn needed_whole(&mut self, column: &str, max: u32) -> Option<u32> {
        if self.is_blank(column) {
            self.fail(
                column,
                format!("must not be blank: write a whole number from 1 to {max}"),
            );
        }
        let value = self.number(column)?;
        let units = value.micro() / crate::base::MICRO_PER_UNIT;
        let whole = value.micro() % crate::base::MICRO_PER_UNIT == 0;
        match u32::try_from(units) {
            Ok(number) if whole && (1..=max).contains(&number) => Some(number),
            _ => {
                self.fail_value(column, format!("is not a whole number from 1 to {max}"));
                None
            }
        }
    }

    pub(super) fn currency(&mut self, column: &str) -> Option<Currency> {
        Currency::parse(self.row.get(column))
            .map_err(|error| self.fail(column, error.to_string()))
            .ok()
    }

    /// An amount of zero or more, not finer than the currency's minor unit; blank is zero.
    pub(super) fn amount(&mut self, column: &str, currency: Option<Currency>) -> Option<Money> {
        if self.is_blank(column) {
            return Some(Money::ZERO);
        }
        let amount = Money::new(self.number(column)?);
        if let Some(currency) = currency.filter(|currency| currency.is_finer_than_minor(amount)) {
            let places = currency.minor_digits();
            let rounded = currency.format(amount);
            self.fail(
                column,
                format!("{amount} is finer than the minor unit of {currency} ({places} decimal places); write the amount of the invoice line, such as {rounded}"),
            );
            return None;
        }
        Some(amount)
    }

    pub(super) fn rate(&mut self, column: &str) -> Option<Rate> {
        let cell = self.row.get(column);
        if cell.is_empty() {
            return None;
        }
        let plain = match plain_decimal(cell, self.decimal) {
            Ok(plain) => plain,
            Err(error) => {
                self.fail_value(column, error);
                return None;
            }
        };
        if let Some(warning) = plain.warning {
            self.warn(column, format!("{warning}: it was read as {}", plain.value));
        }
        Rate::parse(&plain.value)
            .map_err(|error| self.fail(column, error.to_string()))
            .ok()
    }

    /// The direction of a rate; blank is the usual one.
    pub(super) fn quote(&mut self, column: &str) -> Option<Quote> {
        match self.row.get(column).to_ascii_lowercase().as_str() {
            "" | "base_per_foreign" => Some(Quote::BasePerForeign),
            "foreign_per_base" => Some(Quote::ForeignPerBase),
            _ => {
                self.fail_value(
                    column,
                    "is no direction: write base_per_foreign (units of the currency of the books for one of the foreign one) or foreign_per_base",
                );
                None
            }
        }
    }

    pub(super) fn yes_or_no(&mut self, column: &str) -> Option<bool> {
        let cell = self.row.get(column);
        match cell.to_ascii_lowercase().as_str() {
            "" => None,
            "yes" | "true" | "1" => Some(true),
            "no" | "false" | "0" => Some(false),
            _ => {
                self.fail_value(column, "is neither yes nor no: write yes or no");
                None
            }
        }
    }
}
