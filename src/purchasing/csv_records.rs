//! From text to records, by RFC 4180 (section 2 and its ABNF), strictly.
//!
//! Invariants: a quote inside an unquoted cell, or text after a closing quote, is an error with its line, as
//! lenient readers guess and guess differently; LF alone ends a line as CRLF does; every record keeps the
//! physical line it starts on; nothing longer than the limits is kept in memory. Deliberately absent: what
//! the first record means.

use serde::{Deserialize, Serialize};

use super::csv_error::FileError;

/// What stands between two cells.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Delimiter {
    /// `,`
    #[default]
    Comma,
    /// `;`
    Semicolon,
    /// A tab character.
    Tab,
}

impl Delimiter {
    /// Every delimiter, in a fixed order.
    pub const ALL: [Delimiter; 3] = [Delimiter::Comma, Delimiter::Semicolon, Delimiter::Tab];

    /// Reads `comma`, `semicolon` or `tab`.
    ///
    /// ```
    /// use heeltap::purchasing::csv_file::Delimiter;
    /// assert_eq!(Delimiter::parse("semicolon"), Some(Delimiter::Semicolon));
    /// assert_eq!(Delimiter::parse(";"), None);
    /// ```
    #[must_use]
    pub fn parse(name: &str) -> Option<Delimiter> {
        Delimiter::ALL.into_iter().find(|d| d.name() == name)
    }

    /// The name of the parameter's value.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Delimiter::Comma => "comma",
            Delimiter::Semicolon => "semicolon",
            Delimiter::Tab => "tab",
        }
    }

    const fn byte(self) -> u8 {
        match self {
            Delimiter::Comma => b',',
            Delimiter::Semicolon => b';',
            Delimiter::Tab => b'\t',
        }
    }
}

/// How much of a file is read before it is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Longest cell, in characters.
    pub field_chars_max: usize,
    /// Most rows below the header, blank ones not counted.
    pub rows_max: usize,
}

impl Default for Limits {
    /// 4096 characters in a cell, 100 000 rows.
    fn default() -> Limits {
        Limits {
            field_chars_max: 4_096,
            rows_max: 100_000,
        }
    }
}

/// One record of a file: a header or a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The physical line it starts on, from 1.
    pub line: u64,
    /// Its cells, unquoted.
    pub fields: Vec<String>,
}

impl Record {
    /// Whether no cell holds anything.
    pub(super) fn is_blank(&self) -> bool {
        self.fields.iter().all(|field| field.trim().is_empty())
    }
}

/// Most cells in one record; a record beyond it is no table at all.
pub(super) const FIELDS_MAX: usize = 1_000;

/// The records of a text, read strictly by RFC 4180 (LF alone is accepted as a line end as well).
///
/// After the first error it ends.
#[derive(Debug)]
pub struct Records<'a> {
    text: &'a str,
    at: usize,
    line: u64,
    delimiter: u8,
    field_chars_max: usize,
}

impl<'a> Records<'a> {
    /// The records of `text`.
    #[must_use]
    pub fn new(text: &'a str, delimiter: Delimiter, limits: Limits) -> Records<'a> {
        Records {
            text,
            at: 0,
            line: 1,
            delimiter: delimiter.byte(),
            field_chars_max: limits.field_chars_max,
        }
    }

    fn byte(&self, at: usize) -> Option<u8> {
        self.text.as_bytes().get(at).copied()
    }

    fn record(&mut self) -> Result<Record, FileError> {
        let line = self.line;
        let mut fields = Vec::new();
        loop {
            if fields.len() >= FIELDS_MAX {
                return Err(FileError::TooManyFields {
                    line,
                    max: FIELDS_MAX,
                });
            }
            fields.push(if self.byte(self.at) == Some(b'"') {
                self.quoted()?
            } else {
                self.unquoted()?
            });
            match self.byte(self.at) {
                Some(b) if b == self.delimiter => self.at += 1,
                Some(b) => {
                    // The field readers stop at CR only when LF follows.
                    self.at += if b == b'\r' { 2 } else { 1 };
                    self.line += 1;
                    return Ok(Record { line, fields });
                }
                None => return Ok(Record { line, fields }),
            }
        }
    }

    fn unquoted(&mut self) -> Result<String, FileError> {
        let start = self.at;
        while let Some(byte) = self.byte(self.at) {
            match byte {
                b'"' => return Err(FileError::QuoteInField { line: self.line }),
                b'\r' if self.byte(self.at + 1) != Some(b'\n') => {
                    return Err(FileError::BareCarriageReturn { line: self.line });
                }
                b'\r' | b'\n' => break,
                _ if byte == self.delimiter => break,
                _ => self.at += 1,
            }
        }
        let field = &self.text[start..self.at];
        self.check_length(field, self.line)?;
        Ok(field.to_owned())
    }

    fn quoted(&mut self) -> Result<String, FileError> {
        let opened = self.line;
        self.at += 1;
        let mut field = String::new();
        let mut start = self.at;
        loop {
            match self.byte(self.at) {
                None => return Err(FileError::OpenQuote { line: opened }),
                Some(b'"') => {
                    field.push_str(&self.text[start..self.at]);
                    self.check_length(&field, opened)?;
                    if self.byte(self.at + 1) != Some(b'"') {
                        self.at += 1;
                        break;
                    }
                    field.push('"');
                    self.at += 2;
                    start = self.at;
                }
                Some(b'\n') => {
                    self.line += 1;
                    self.at += 1;
                }
                Some(_) => self.at += 1,
            }
        }
        match (self.byte(self.at), self.byte(self.at + 1)) {
            (None | Some(b'\n'), _) | (Some(b'\r'), Some(b'\n')) => Ok(field),
            (Some(byte), _) if byte == self.delimiter => Ok(field),
            _ => Err(FileError::TextAfterQuote { line: self.line }),
        }
    }

    fn check_length(&self, field: &str, line: u64) -> Result<(), FileError> {
        let max = self.field_chars_max;
        if field.len() > max && field.chars().count() > max {
            return Err(FileError::FieldTooLong { line, max });
        }
        Ok(())
    }
}

impl Iterator for Records<'_> {
    type Item = Result<Record, FileError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.at >= self.text.len() {
            return None;
        }
        let record = self.record();
        if record.is_err() {
            self.at = self.text.len();
        }
        Some(record)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Writes cells as RFC 4180 would.
    fn write(records: &[Vec<String>]) -> String {
        let mut text = String::new();
        for record in records {
            let cells: Vec<String> = record
                .iter()
                .map(|c| format!("\"{}\"", c.replace('"', "\"\"")))
                .collect();
            text.push_str(&cells.join(","));
            text.push_str("\r\n");
        }
        text
    }

    proptest! {
        #[test]
        fn what_was_written_is_read(
            records in prop::collection::vec(prop::collection::vec("[a,;\"\r\n ä]{0,6}", 1..5), 1..6),
        ) {
            let text = write(&records);
            let read: Result<Vec<Vec<String>>, FileError> =
                Records::new(&text, Delimiter::Comma, Limits::default())
                    .map(|r| r.map(|r| r.fields))
                    .collect();
            prop_assert_eq!(read, Ok(records));
        }
    }
}
