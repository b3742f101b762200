//! Why a file as a whole was refused.
//!
//! Invariant: each reason names the line where one can be named, and what to do about it. Deliberately
//! absent: errors of single rows, which never refuse the file before all of them are known.

use super::csv_records::Delimiter;

/// Why a file as a whole was refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    /// Nothing in it.
    #[error("the file has no header: its first line must name the columns")]
    NoHeader,
    /// UTF-16.
    #[error("the file is in UTF-16: save it as \"CSV UTF-8\"")]
    Utf16,
    /// A byte that is not UTF-8.
    #[error(
        "line {line}, byte {position}: 0x{byte:02X} is not valid UTF-8; save the file as \"CSV UTF-8\", or send encoding=windows-1252 if it was saved in that code page"
    )]
    NotUtf8 {
        /// Line, from 1.
        line: u64,
        /// The byte.
        byte: u8,
        /// Its place in the line, from 1.
        position: usize,
    },
    /// A byte that stands for nothing in Windows-1252.
    #[error(
        "line {line}: byte 0x{byte:02X} stands for nothing in Windows-1252; save the file as \"CSV UTF-8\" and send encoding=utf-8"
    )]
    NotWindows1252 {
        /// Line, from 1.
        line: u64,
        /// The byte.
        byte: u8,
    },
    /// A UTF-8 byte order mark under another encoding.
    #[error(
        "the file begins with the mark of UTF-8, but encoding=windows-1252 was sent: send encoding=utf-8"
    )]
    MarkContradictsEncoding,
    /// A NUL character.
    #[error("line {line}: U+0000 has no place in a text file; export the file again")]
    Nul {
        /// Line, from 1.
        line: u64,
    },
    /// A carriage return that ends no line.
    #[error(
        "line {line}: a carriage return without a line feed; save the file with CRLF or LF line ends"
    )]
    BareCarriageReturn {
        /// Line, from 1.
        line: u64,
    },
    /// A quote inside an unquoted cell.
    #[error(
        "line {line}: a quote inside a cell that does not begin with one; put the whole cell in quotes and double each quote inside it (RFC 4180)"
    )]
    QuoteInField {
        /// Line, from 1.
        line: u64,
    },
    /// Text after the closing quote.
    #[error(
        "line {line}: text after a closing quote; put the whole cell in quotes and double each quote inside it (RFC 4180)"
    )]
    TextAfterQuote {
        /// Line, from 1.
        line: u64,
    },
    /// A quote that is never closed.
    #[error("line {line}: the quote opened here is never closed")]
    OpenQuote {
        /// Line of the opening quote, from 1.
        line: u64,
    },
    /// A cell beyond the limit.
    #[error("line {line}: a cell is longer than the limit of {max} characters")]
    FieldTooLong {
        /// Line, from 1.
        line: u64,
        /// The limit.
        max: usize,
    },
    /// A record beyond the limit.
    #[error("line {line}: more than {max} cells in one row; is the delimiter right?")]
    TooManyFields {
        /// Line, from 1.
        line: u64,
        /// The limit.
        max: usize,
    },
    /// More rows than the limit.
    #[error("line {line}: the file has more than the limit of {max} rows; split it")]
    TooManyRows {
        /// Line of the first row beyond it, from 1.
        line: u64,
        /// The limit.
        max: usize,
    },
    /// The header is right under another delimiter.
    #[error(
        "line {line}: the header does not match with delimiter={}, but it does with delimiter={}; send that", stated.name(), other.name()
    )]
    OtherDelimiter {
        /// Line of the header, from 1.
        line: u64,
        /// The delimiter that was stated.
        stated: Delimiter,
        /// The delimiter that fits.
        other: Delimiter,
    },
    /// The header does not fit.
    #[error(transparent)]
    Header(Box<HeaderError>),
}

/// Everything that is wrong with a header.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {}", self.text())]
pub struct HeaderError {
    /// Line of the header, from 1.
    pub line: u64,
    /// Required columns that are absent.
    pub missing: Vec<&'static str>,
    /// Columns that nobody knows.
    pub unknown: Vec<String>,
    /// Columns that occur twice after case folding.
    pub repeated: Vec<String>,
    /// Places (from 1) of columns without a name.
    pub unnamed: Vec<usize>,
    /// The columns that are known.
    pub known: Vec<&'static str>,
}

impl FileError {
    /// The line, if one can be named.
    #[must_use]
    pub fn line(&self) -> Option<u64> {
        match self {
            FileError::NoHeader | FileError::Utf16 | FileError::MarkContradictsEncoding => None,
            FileError::NotUtf8 { line, .. }
            | FileError::NotWindows1252 { line, .. }
            | FileError::Nul { line }
            | FileError::BareCarriageReturn { line }
            | FileError::QuoteInField { line }
            | FileError::TextAfterQuote { line }
            | FileError::OpenQuote { line }
            | FileError::FieldTooLong { line, .. }
            | FileError::TooManyFields { line, .. }
            | FileError::TooManyRows { line, .. }
            | FileError::OtherDelimiter { line, .. } => Some(*line),
            FileError::Header(header) => Some(header.line),
        }
    }
}

/// Names that are listed before a list is cut.
const NAMES_MAX: usize = 8;

fn quoted_list(names: &[impl AsRef<str>]) -> String {
    let shown: Vec<String> = names
        .iter()
        .take(NAMES_MAX)
        .map(|name| format!("\"{}\"", name.as_ref()))
        .collect();
    let more = names.len().saturating_sub(NAMES_MAX);
    match more {
        0 => shown.join(", "),
        _ => format!("{} and {more} more", shown.join(", ")),
    }
}

impl HeaderError {
    fn text(&self) -> String {
        let mut parts = Vec::new();
        if !self.missing.is_empty() {
            let names = quoted_list(&self.missing);
            parts.push(format!("required column {names} absent"));
        }
        if !self.repeated.is_empty() {
            let names = quoted_list(&self.repeated);
            parts.push(format!("column {names} occurs twice after case folding"));
        }
        if !self.unknown.is_empty() {
            let names = quoted_list(&self.unknown);
            parts.push(format!("unknown column {names}"));
        }
        if let Some(first) = self.unnamed.first() {
            parts.push(format!("column {first} has no name"));
        }
        let known = self.known.join(", ");
        format!("{}; the columns are: {known}", parts.join("; "))
    }
}
