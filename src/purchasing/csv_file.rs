//! From the bytes of an uploaded file to a table of text cells, or one clear reason why not.
//!
//! For: purchase files and rate files. Invariants: nothing is guessed, neither delimiter nor encoding; a
//! byte that is not text refuses the file and is never replaced; quoting is that of RFC 4180 (section 2
//! and its ABNF), strictly; every record keeps the physical line it starts on; memory is bounded by the
//! limits, whatever is sent. Deliberately absent: the meaning of a cell (see the readers of numbers, dates
//! and rows), and reading from disk or network.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

pub use super::csv_error::{FileError, HeaderError};
pub use super::csv_records::{Delimiter, Limits, Record, Records};
pub use super::csv_text::{Encoding, decode};

/// How a file is written, as its sender says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FileFormat {
    /// What stands between two cells.
    pub delimiter: Delimiter,
    /// How the bytes stand for characters.
    pub encoding: Encoding,
    /// How much is read.
    pub limits: Limits,
}

/// A column a file may or must have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name, in lower case.
    pub name: &'static str,
    /// Whether a file without it is refused.
    pub required: bool,
}

/// Something wrong with one cell of a row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CellError {
    /// The column, or `row` where the row as a whole is wrong.
    pub column: String,
    /// What stands there, cut if long.
    pub value: String,
    /// What is wrong and what would be right.
    pub detail: String,
}

impl CellError {
    /// Longest value that is repeated to the sender, in characters.
    pub const VALUE_MAX_CHARS: usize = 80;

    /// An error at a cell; the value is cut if long.
    #[must_use]
    pub fn new(column: &str, value: &str, detail: impl Into<String>) -> CellError {
        let mut cut: String = value.chars().take(CellError::VALUE_MAX_CHARS).collect();
        if cut.len() < value.len() {
            cut.push('…');
        }
        CellError {
            column: column.to_owned(),
            value: cut,
            detail: detail.into(),
        }
    }
}

/// A file with a good header.
#[derive(Clone, Debug)]
pub struct Table {
    columns: &'static [Column],
    /// For each known column its place in a record, if the file has it.
    places: Vec<Option<usize>>,
    /// Number of cells of the header, and so of every good row.
    width: usize,
    rows: Vec<Record>,
}

/// One row of a table.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    table: &'a Table,
    record: &'a Record,
}

impl Table {
    /// A table of cells that stood in no file, each row in the order of `columns`; rows are numbered from 1.
    #[must_use]
    pub fn of_cells(columns: &'static [Column], rows: Vec<Vec<String>>) -> Table {
        let number = |(index, fields)| Record {
            line: index as u64 + 1,
            fields,
        };
        Table {
            columns,
            places: (0..columns.len()).map(Some).collect(),
            width: columns.len(),
            rows: rows.into_iter().enumerate().map(number).collect(),
        }
    }

    /// The rows in file order; blank ones are left out.
    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        let row = |record| Row {
            table: self,
            record,
        };
        self.rows.iter().map(row)
    }

    /// The names of the columns that the file has, in the order in which they are known.
    pub fn columns(&self) -> impl Iterator<Item = &'static str> {
        let known = self.columns.iter().zip(&self.places);
        known
            .filter(|(_, place)| place.is_some())
            .map(|(column, _)| column.name)
    }

    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether the file has a header and nothing else.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }
}

impl<'a> Row<'a> {
    /// The physical line the row starts on, from 1.
    #[must_use]
    pub fn line(&self) -> u64 {
        self.record.line
    }

    /// Checks that the row has as many cells as the header.
    ///
    /// # Errors
    /// [`CellError`] at `row`, with both numbers.
    pub fn check_width(&self) -> Result<(), CellError> {
        let (got, want) = (self.record.fields.len(), self.table.width);
        if got == want {
            return Ok(());
        }
        let why = if got < want {
            "cells are missing"
        } else {
            "a cell that holds the delimiter must stand in quotes"
        };
        let detail = format!("the row has {got} of {want} cells: {why}");
        Err(CellError::new("row", &format!("{got} cells"), detail))
    }

    /// The text of a cell, blanks at both ends removed; empty if the file has no such column.
    #[must_use]
    pub fn get(&self, column: &str) -> &'a str {
        let index = self.table.columns.iter().position(|c| c.name == column);
        index
            .and_then(|i| self.table.places[i])
            .and_then(|place| self.record.fields.get(place))
            .map_or("", |cell| cell.trim())
    }
}

/// Reads a file: decodes it, checks its header against `columns`, and keeps its rows.
///
/// Column names are matched after trimming and case folding, in any order. Blank lines are ignored.
///
/// # Errors
/// [`FileError`]: whatever makes the file as a whole unusable, with its line.
///
/// ```
/// use heeltap::purchasing::csv_file::{Column, FileFormat, read_table};
/// const COLUMNS: &[Column] = &[Column { name: "lot", required: true }];
/// let table = read_table(b"\xEF\xBB\xBF Lot \r\n00123\r\n\r\n", COLUMNS, &FileFormat::default())?;
/// let lots: Vec<&str> = table.rows().map(|row| row.get("lot")).collect();
/// assert_eq!(lots, ["00123"]);
/// # Ok::<(), heeltap::purchasing::csv_file::FileError>(())
/// ```
pub fn read_table(
    bytes: &[u8],
    columns: &'static [Column],
    format: &FileFormat,
) -> Result<Table, FileError> {
    let text = decode(bytes, format.encoding)?;
    let mut header = None;
    let mut rows = Vec::new();
    for record in Records::new(&text, format.delimiter, format.limits) {
        let record = record.map_err(|error| hint_at_header(error, &text, columns, format))?;
        if record.is_blank() {
            continue;
        }
        if header.is_none() {
            header = Some((
                read_header(&record, &text, columns, format)?,
                record.fields.len(),
            ));
            continue;
        }
        if rows.len() >= format.limits.rows_max {
            return Err(FileError::TooManyRows {
                line: record.line,
                max: format.limits.rows_max,
            });
        }
        rows.push(record);
    }
    let (places, width) = header.ok_or(FileError::NoHeader)?;
    Ok(Table {
        columns,
        places,
        width,
        rows,
    })
}

/// A quoting error on the header's line may only mean that the delimiter is another one; then that is said.
fn hint_at_header(
    error: FileError,
    text: &str,
    columns: &'static [Column],
    format: &FileFormat,
) -> FileError {
    match other_delimiter(text, columns, format) {
        Some((other, line)) if error.line() == Some(line) => FileError::OtherDelimiter {
            line,
            stated: format.delimiter,
            other,
        },
        _ => error,
    }
}

/// Finds the place of each column, or everything that is wrong with the header.
fn read_header(
    record: &Record,
    text: &str,
    columns: &'static [Column],
    format: &FileFormat,
) -> Result<Vec<Option<usize>>, FileError> {
    match_header(record, columns).map_err(|error| match other_delimiter(text, columns, format) {
        Some((other, line)) => FileError::OtherDelimiter {
            line,
            stated: format.delimiter,
            other,
        },
        None => error,
    })
}

/// The delimiter under which the header would be right, and the header's line, if there is one.
fn other_delimiter(
    text: &str,
    columns: &'static [Column],
    format: &FileFormat,
) -> Option<(Delimiter, u64)> {
    Delimiter::ALL
        .into_iter()
        .filter(|other| *other != format.delimiter)
        .find_map(|other| {
            let record = Records::new(text, other, format.limits)
                .map_while(Result::ok)
                .find(|record| !record.is_blank())?;
            match_header(&record, columns)
                .is_ok()
                .then_some((other, record.line))
        })
}

fn match_header(
    record: &Record,
    columns: &'static [Column],
) -> Result<Vec<Option<usize>>, FileError> {
    let mut places = vec![None; columns.len()];
    let (mut unknown, mut repeated, mut unnamed) = (Vec::new(), Vec::new(), Vec::new());
    for (place, field) in record.fields.iter().enumerate() {
        let name = field.trim().to_lowercase();
        match columns.iter().position(|column| column.name == name) {
            Some(index) if places[index].is_some() => repeated.push(name),
            Some(index) => places[index] = Some(place),
            None if name.is_empty() => unnamed.push(place + 1),
            None => unknown.push(name.chars().take(40).collect()),
        }
    }
    let missing: Vec<&'static str> = columns
        .iter()
        .zip(&places)
        .filter(|(column, place)| column.required && place.is_none())
        .map(|(column, _)| column.name)
        .collect();
    if missing.is_empty() && unknown.is_empty() && repeated.is_empty() && unnamed.is_empty() {
        return Ok(places);
    }
    Err(FileError::Header(Box::new(HeaderError {
        line: record.line,
        missing,
        unknown,
        repeated,
        unnamed,
        known: columns.iter().map(|column| column.name).collect(),
    })))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const COLUMNS: &[Column] = &[
        Column {
            name: "item",
            required: true,
        },
        Column {
            name: "lot",
            required: true,
        },
        Column {
            name: "note",
            required: false,
        },
    ];

    fn table(text: &[u8], delimiter: Delimiter) -> Result<Table, FileError> {
        let format = FileFormat {
            delimiter,
            ..FileFormat::default()
        };
        read_table(text, COLUMNS, &format)
    }

    #[track_caller]
    fn refused(text: &[u8], part: &str) {
        let got = table(text, Delimiter::Comma).map_err(|e| e.to_string());
        assert!(got.as_ref().is_err_and(|e| e.contains(part)), "{got:?}");
    }

    #[track_caller]
    fn lots(text: &[u8]) -> Vec<(u64, String)> {
        match table(text, Delimiter::Comma) {
            Ok(table) => table
                .rows()
                .map(|r| (r.line(), r.get("lot").to_owned()))
                .collect(),
            Err(error) => panic!("{error}"),
        }
    }

    #[test]
    fn rows_keep_their_physical_line() {
        let got = lots(b"\n lot ,ITEM\r\n1,\"a\nb\"\n\n , \r\n2,c");
        assert_eq!(got, [(3, "1".to_owned()), (7, "2".to_owned())]);
    }

    #[test]
    fn an_absent_optional_column_is_blank() {
        let got = table(b"item,lot\na,b\n", Delimiter::Comma).map(|t| {
            t.rows()
                .map(|r| r.get("note").to_owned())
                .collect::<Vec<_>>()
        });
        assert_eq!(got, Ok(vec![String::new()]));
    }

    #[test]
    fn the_header_names_everything_that_is_wrong_with_it() {
        refused(b"item\n", "line 1: required column \"lot\" absent");
        refused(b"item,lot,LOT\n", "column \"lot\" occurs twice");
        refused(b"item,lot,colour\n", "unknown column \"colour\"");
        refused(b"item,lot,\n", "column 3 has no name");
        refused(b"", "no header");
        refused(b"\n\n", "no header");
    }

    #[test]
    fn a_header_that_fits_another_delimiter_says_which() {
        refused(b"item;lot\na;b\n", "but it does with delimiter=semicolon");
        refused(b"item\tlot\na\tb\n", "but it does with delimiter=tab");
        refused(
            b"\"item\";\"lot\"\n",
            "but it does with delimiter=semicolon",
        );
    }

    #[test]
    fn what_is_not_text_is_refused_with_its_place() {
        refused(
            b"item,lot\na,\xE4\n",
            "line 2, byte 3: 0xE4 is not valid UTF-8",
        );
        refused(b"item,lot\na,b\0\n", "line 2: U+0000");
        refused(b"\xFF\xFEi\0", "UTF-16");
        let marked = decode(b"\xEF\xBB\xBFa", Encoding::Windows1252);
        assert_eq!(marked, Err(FileError::MarkContradictsEncoding));
        assert_eq!(
            decode(b"\x80\xE4", Encoding::Windows1252).as_deref(),
            Ok("€ä")
        );
        let hole = decode(b"a\n\x81", Encoding::Windows1252);
        assert_eq!(
            hole,
            Err(FileError::NotWindows1252 {
                line: 2,
                byte: 0x81
            })
        );
    }

    #[test]
    fn quoting_is_strict_and_names_the_line() {
        refused(b"item,lot\na\"b,c\n", "line 2: a quote inside a cell");
        refused(
            b"item,lot\n\"a\"b,c\n",
            "line 2: text after a closing quote",
        );
        refused(
            b"item,lot\na,\"b\nc\n",
            "line 2: the quote opened here is never closed",
        );
        refused(b"item,lot\na, \"b\"\n", "line 2: a quote inside a cell");
        refused(b"item,lot\ra,b\r", "line 1: a carriage return");
        refused(
            b"item,lot\n\"a\"\r,b\n",
            "line 2: text after a closing quote",
        );
    }

    #[test]
    fn limits_hold_on_both_sides() {
        let limits = Limits {
            field_chars_max: 3,
            rows_max: 2,
        };
        let read = |text: &str| {
            let format = FileFormat {
                limits,
                ..FileFormat::default()
            };
            const SHORT: &[Column] = &[Column {
                name: "lot",
                required: true,
            }];
            read_table(text.as_bytes(), SHORT, &format).map(|t| t.len())
        };
        assert_eq!(read("lot\näöü\n\"abc\"\n"), Ok(2));
        assert_eq!(
            read("lot\nabcd\n"),
            Err(FileError::FieldTooLong { line: 2, max: 3 })
        );
        assert_eq!(
            read("lot\n\"ab\ncd\"\n"),
            Err(FileError::FieldTooLong { line: 2, max: 3 })
        );
        assert_eq!(
            read("lot\n1\n\n2\n3\n"),
            Err(FileError::TooManyRows { line: 5, max: 2 })
        );
        let wide = ",".repeat(crate::purchasing::csv_records::FIELDS_MAX);
        assert!(matches!(
            read(&wide),
            Err(FileError::TooManyFields { line: 1, .. })
        ));
    }

    #[test]
    fn a_row_of_another_width_says_both_numbers() {
        let widths = table(b"item,lot\na\na,b,c\na,b\n", Delimiter::Comma).map(|t| {
            t.rows()
                .map(|r| r.check_width().map_err(|e| e.detail))
                .collect::<Vec<_>>()
        });
        let details = widths.unwrap_or_default();
        assert!(
            details[0]
                .as_ref()
                .is_err_and(|d| d.contains("1 of 2 cells"))
        );
        assert!(
            details[1]
                .as_ref()
                .is_err_and(|d| d.contains("3 of 2 cells"))
        );
        assert_eq!(details[2], Ok(()));
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            for encoding in [Encoding::Utf8, Encoding::Windows1252] {
                let format = FileFormat { encoding, ..FileFormat::default() };
                let _ = read_table(&bytes, COLUMNS, &format);
            }
        }

        #[test]
        fn text_like_a_table_is_read_or_refused(rest in "[a,;\t\"\r\n]{0,40}") {
            for delimiter in Delimiter::ALL {
                let _ = table(format!("item,lot\n{rest}").as_bytes(), delimiter);
            }
        }
    }

    proptest! {
        /// Names are matched by themselves: neither their order nor their case nor blanks around them matter.
        #[test]
        fn columns_may_stand_in_any_order(
            order in Just([0_usize, 1, 2]).prop_shuffle(),
            rows in prop::collection::vec(prop::array::uniform3("[a-z]{1,4}"), 0..6),
            upper in any::<bool>(),
        ) {
            let names = order.map(|at| COLUMNS[at].name);
            let header = if upper { names.map(str::to_uppercase).join(" , ") } else { names.join(",") };
            let mut file = format!("{header}\r\n");
            for row in &rows {
                file += &format!("{}\r\n", order.map(|at| row[at].clone()).join(","));
            }
            let read = table(file.as_bytes(), Delimiter::Comma).expect("a table");
            let cells = read.rows().map(|row| std::array::from_fn(|at| row.get(COLUMNS[at].name).to_owned()));
            prop_assert_eq!(cells.collect::<Vec<[String; 3]>>(), rows);
        }

        /// A refused file says a line that it has.
        #[test]
        fn a_refusal_names_a_line_of_the_file(bytes in prop::collection::vec(prop::sample::select(&b"item,lot\"\r\n\xFFa"[..]), 0..60)) {
            if let Err(error) = table(&bytes, Delimiter::Comma) {
                let lines = bytes.split(|byte| *byte == b'\n').count() as u64;
                prop_assert!(error.line().is_none_or(|line| (1..=lines).contains(&line)), "{}", error);
            }
        }
    }
}
