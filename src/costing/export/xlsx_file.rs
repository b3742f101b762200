//! Writing a spreadsheet (ISO/IEC 29500, `.xlsx`) with typed cells: text is text, whatever it begins with, and numbers are
//! numbers with the digits of their currency.
//!
//! Invariants: the header row stays in sight while one scrolls; what the report is about stands on a sheet of its own;
//! the same report made at the same instant gives the same bytes. Deliberately absent: formulas and charts. A spreadsheet
//! holds numbers in binary floating point, so beyond 15 significant digits the CSV is the exact file.

use chrono::{DateTime, Datelike, Timelike, Utc};
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatBorder, Workbook, Worksheet, XlsxError,
};

use super::sheet::{Cell, FRAME, Tabular};
use crate::base::Error;

/// The most records of one sheet; the format has 1,048,576 rows, of which the first is the header.
pub const RECORDS_MAX: usize = 1_048_575;

/// The formats of the cells.
struct Formats {
    header: Format,
    decimal: Format,
    count: Format,
    amounts: [Format; 5],
}

impl Formats {
    fn new() -> Self {
        let digits = |digits: usize| match digits {
            0 => Format::new().set_num_format("#,##0"),
            _ => Format::new().set_num_format(format!("#,##0.{}", "0".repeat(digits))),
        };
        Self {
            header: Format::new()
                .set_bold()
                .set_border_bottom(FormatBorder::Thin),
            decimal: Format::new().set_num_format("0.######"),
            count: Format::new().set_num_format("#,##0"),
            amounts: std::array::from_fn(digits),
        }
    }
}

/// The report as a spreadsheet: its records on the first sheet, what they are about on the second. `made_at` stands in
/// the file's properties; `told` hears how many records are written.
///
/// # Errors
/// [`Error::Refused`] beyond [`RECORDS_MAX`] records; [`Error::Internal`] when the writer fails.
pub fn xlsx_whole(
    table: &dyn Tabular,
    made_at: DateTime<Utc>,
    told: &mut dyn FnMut(usize),
) -> Result<Vec<u8>, Error> {
    if table.records() > RECORDS_MAX {
        let detail = format!(
            "{} records do not fit on a sheet of {RECORDS_MAX}: take format=csv, or a shorter period",
            table.records()
        );
        return Err(Error::invalid("/format", detail));
    }
    write(table, made_at, told).map_err(Error::internal)
}

fn write(
    table: &dyn Tabular,
    made_at: DateTime<Utc>,
    told: &mut dyn FnMut(usize),
) -> Result<Vec<u8>, XlsxError> {
    let formats = Formats::new();
    let mut book = Workbook::new();
    book.set_properties(&properties(table, made_at)?);
    let sheet = book.add_worksheet();
    sheet.set_name(table.title())?;
    let columns = table.columns();
    for (at, name) in (0_u16..).zip(&columns) {
        sheet.write_string_with_format(0, at, *name, &formats.header)?;
        sheet.set_column_width(at, width(name))?;
    }
    sheet.set_freeze_panes(1, 0)?;
    for at in 0..table.records() {
        let row = u32::try_from(at + 1).unwrap_or(u32::MAX);
        for (column, cell) in (0_u16..).zip(table.record(at)) {
            cell_write(sheet, (row, column), &cell, &formats)?;
        }
        told(at + 1);
    }
    let about = book.add_worksheet();
    about.set_name("about")?;
    about.set_column_width(0, 12)?;
    about.set_column_width(1, 80)?;
    for ((row, name), cell) in (0_u32..).zip(FRAME).zip(table.frame().cells()) {
        about.write_string_with_format(row, 0, name, &formats.header)?;
        cell_write(about, (row, 1), &cell, &formats)?;
    }
    book.save_to_buffer()
}

fn cell_write(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    cell: &Cell,
    formats: &Formats,
) -> Result<(), XlsxError> {
    match cell {
        Cell::Text(text) => sheet.write_string(row, column, text)?,
        Cell::Count(count) => {
            // Whole numbers up to 2^53 are exact.
            sheet.write_number_with_format(row, column, *count as f64, &formats.count)?
        }
        Cell::Decimal(value) => {
            sheet.write_number_with_format(row, column, value.to_f64(), &formats.decimal)?
        }
        Cell::Amount(amount, currency) => {
            let digits = usize::from(currency.minor_digits()).min(formats.amounts.len() - 1);
            sheet.write_number_with_format(
                row,
                column,
                amount.to_f64(),
                &formats.amounts[digits],
            )?
        }
        Cell::Blank => sheet,
    };
    Ok(())
}

fn width(name: &str) -> f64 {
    let letters = u8::try_from(name.chars().count()).unwrap_or(u8::MAX);
    f64::from(letters).max(8.0) + 3.0
}

fn properties(table: &dyn Tabular, made_at: DateTime<Utc>) -> Result<DocProperties, XlsxError> {
    let part = |value: u32| u8::try_from(value).unwrap_or(0);
    let year = u16::try_from(made_at.year()).unwrap_or(1900);
    let (month, day) = (part(made_at.month()), part(made_at.day()));
    let (hour, minute) = (
        u16::try_from(made_at.hour()).unwrap_or(0),
        part(made_at.minute()),
    );
    let made_at = ExcelDateTime::from_ymd(year, month, day)?.and_hms(
        hour,
        minute,
        f64::from(made_at.second()),
    )?;
    Ok(DocProperties::new()
        .set_title(table.title())
        .set_creation_datetime(&made_at))
}
