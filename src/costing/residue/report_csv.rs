//! The columns of the residue report as CSV: its rows, the total, and what was not weighed. Weighings and drain times
//! are in the JSON alone.
//!
//! Invariant: as in the cost report, every record says what it is, its period, its currency and how it was rounded;
//! figures that do not exist are blank, never 0.

use super::view::{ResidueReport, ResidueRow};
use crate::base::Quantity;
use crate::costing::csv_export::{Cell, record_append};
use crate::costing::period::Period;

const COLUMNS: [&str; 26] = [
    "line",
    "key",
    "name",
    "cup",
    "elastomer",
    "casts",
    "cups_weighed",
    "mixed_g",
    "film_g",
    "expected_g",
    "planned_g",
    "weighed_g",
    "weighed_over_expected",
    "mean_absolute_error_g",
    "within_planned_share",
    "residue_share",
    "residue_value",
    "k_mean",
    "k_sd",
    "observations",
    "outliers",
    "from",
    "to",
    "group_by",
    "currency",
    "rounding",
];

/// The report as CSV.
///
/// ```
/// use heeltap::base::Currency;
/// use heeltap::costing::period::Period;
/// use heeltap::costing::residue::grouping::ResidueBy;
/// use heeltap::costing::residue::report::{ResidueGathering, ResidueNames};
/// use heeltap::costing::residue::report_csv::residue_csv;
/// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
/// let empty = ResidueGathering::new(ResidueBy::Cup);
/// let report = empty.report(Period::default(), euro, &ResidueNames::default(), &Default::default(), vec![])?;
/// let file = residue_csv(&report);
/// assert!(file.starts_with("\"line\",\"key\",\"name\",\"cup\""));
/// assert_eq!(file.lines().count(), 3);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
#[must_use]
pub fn residue_csv(report: &ResidueReport) -> String {
    let mut file = String::new();
    record_append(&mut file, &COLUMNS.map(Cell::text));
    for row in &report.rows {
        record_append(&mut file, &cells("row", row, report));
    }
    record_append(&mut file, &cells("total", &report.total, report));
    let unweighed = &report.without_weighing;
    let mut record: Vec<Cell> = vec![Cell::Blank; COLUMNS.len()];
    record[0] = Cell::text("without_weighing");
    record[5] = Cell::Count(unweighed.casts);
    record[16] = Cell::Decimal(unweighed.residue_value.value());
    let frame = frame(report);
    let frame_at = COLUMNS.len() - frame.len();
    record.splice(frame_at.., frame);
    record_append(&mut file, &record);
    file
}

/// The name of the file.
///
/// ```
/// use heeltap::costing::period::Period;
/// use heeltap::costing::residue::grouping::ResidueBy;
/// use heeltap::costing::residue::report_csv::residue_file_name;
/// assert_eq!(residue_file_name(ResidueBy::Cup, Period::default()), "residue-by-cup-all-time.csv");
/// ```
#[must_use]
pub fn residue_file_name(by: super::grouping::ResidueBy, period: Period) -> String {
    format!("residue-by-{}-{}.csv", by.as_str(), period.file_part())
}

fn cells(line: &str, row: &ResidueRow, report: &ResidueReport) -> Vec<Cell> {
    let text = |text: Option<&str>| text.map_or(Cell::Blank, Cell::text);
    let mass = |mass: Quantity| Cell::Decimal(mass.value());
    let mut cells = vec![
        Cell::text(line),
        Cell::text(&row.key),
        text(row.name.as_deref()),
        text(row.cup.as_ref().map(crate::base::Code::as_str)),
        text(row.elastomer.as_ref().map(crate::base::Code::as_str)),
        Cell::Count(row.casts),
        Cell::Count(row.cups_weighed),
        mass(row.mixed_g),
        mass(row.film_g),
        mass(row.expected_g),
        mass(row.planned_g),
        mass(row.weighed_g),
        Cell::decimal(row.weighed_over_expected),
        Cell::decimal(row.mean_absolute_error_g),
        Cell::decimal(row.within_planned_share),
        Cell::decimal(row.residue_share),
        Cell::Decimal(row.residue_value.value()),
        Cell::decimal(row.k_mean),
        Cell::decimal(row.k_sd),
        row.observations
            .map_or(Cell::Blank, |count| Cell::Count(count as usize)),
        Cell::Count(row.outliers),
    ];
    cells.extend(frame(report));
    cells
}

/// What every record says of the report.
fn frame(report: &ResidueReport) -> [Cell; 5] {
    let day =
        |day: Option<chrono::NaiveDate>| day.map_or(Cell::Blank, |day| Cell::text(day.to_string()));
    [
        day(report.from),
        day(report.to),
        Cell::text(report.group_by.as_str()),
        Cell::text(&report.currency),
        Cell::text(&report.rounding),
    ]
}
