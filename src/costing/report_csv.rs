//! The columns of the cost report as CSV.
//!
//! Invariants: every record says what it is (`row`, `total`, `work_in_progress`), its period, its currency and how it was
//! rounded, so that a line that is copied out still tells; amounts have the digits of the minor unit; figures that do not
//! exist are blank, never 0. Deliberately absent: streaming.

use super::csv_export::{Cell, record_append};
use super::period::Period;
use super::report::{CostRow, ReplicaCost};
use crate::base::Currency;
use crate::casting::cost::{Component, ComponentAmount};

/// The columns before the components.
const BEFORE: [&str; 8] = [
    "line",
    "key",
    "name",
    "casts",
    "scrapped_casts",
    "chips",
    "good_chips",
    "yield",
];

/// The columns after the components.
const AFTER: [&str; 14] = [
    "total",
    "exact_total",
    "per_good_chip",
    "interval_low",
    "interval_high",
    "interval_level",
    "interval_casts",
    "residue_share",
    "trim_share",
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
/// use heeltap::costing::grouping::GroupBy;
/// use heeltap::costing::period::Period;
/// use heeltap::costing::report::{Gathering, Names};
/// use heeltap::costing::report_csv::report_csv;
/// let euro = Currency::parse("EUR").map_err(heeltap::base::Error::internal)?;
/// let report = Gathering::new(GroupBy::Month).report(Period::default(), euro, &Names::new(), (0, Default::default()))?;
/// let file = report_csv(&report, euro);
/// assert!(file.starts_with("\"line\",\"key\",\"name\",\"casts\""));
/// assert_eq!(file.lines().count(), 3);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
#[must_use]
pub fn report_csv(report: &ReplicaCost, currency: Currency) -> String {
    let mut file = String::new();
    let names = BEFORE
        .into_iter()
        .chain(Component::ALL.map(Component::as_str))
        .chain(AFTER);
    record_append(&mut file, &names.map(Cell::text).collect::<Vec<_>>());
    for row in &report.rows {
        record_append(&mut file, &cost_row("row", row, report, currency));
    }
    record_append(
        &mut file,
        &cost_row("total", &report.total, report, currency),
    );
    record_append(&mut file, &in_progress(report, currency));
    file
}

/// The name of the file.
///
/// ```
/// use heeltap::costing::grouping::GroupBy;
/// use heeltap::costing::period::Period;
/// use heeltap::costing::report_csv::file_name;
/// assert_eq!(file_name(GroupBy::Grant, Period::default()), "replica-cost-by-grant-all-time.csv");
/// ```
#[must_use]
pub fn file_name(by: super::grouping::GroupBy, period: Period) -> String {
    format!("replica-cost-by-{}-{}.csv", by.as_str(), period.file_part())
}

fn cost_row(line: &str, row: &CostRow, report: &ReplicaCost, currency: Currency) -> Vec<Cell> {
    let interval = row.planning_interval.as_ref();
    let mut cells = vec![
        Cell::text(line),
        Cell::text(&row.key),
        row.name.as_ref().map_or(Cell::Blank, Cell::text),
        Cell::Count(row.casts),
        Cell::Count(row.scrapped_casts),
        Cell::Decimal(row.chips),
        Cell::Decimal(row.good_chips),
        Cell::decimal(row.r#yield),
    ];
    cells.extend(amounts(&row.components, currency));
    cells.extend([
        Cell::Amount(row.total, currency),
        Cell::Decimal(row.exact_total.value()),
        Cell::decimal(row.per_good_chip),
        Cell::decimal(interval.map(|interval| interval.low)),
        Cell::decimal(interval.map(|interval| interval.high)),
        Cell::decimal(interval.map(|interval| interval.level)),
        interval.map_or(Cell::Blank, |interval| Cell::Count(interval.casts)),
        Cell::decimal(row.residue_share),
        Cell::decimal(row.trim_share),
    ]);
    cells.extend(frame(report));
    cells
}

fn in_progress(report: &ReplicaCost, currency: Currency) -> Vec<Cell> {
    let progress = &report.work_in_progress;
    let mut cells = vec![
        Cell::text("work_in_progress"),
        Cell::Blank,
        Cell::Blank,
        Cell::Count(progress.casts),
    ];
    cells.extend(std::iter::repeat_n(Cell::Blank, BEFORE.len() - cells.len()));
    cells.extend(amounts(&progress.components, currency));
    cells.extend([
        Cell::Amount(progress.total, currency),
        Cell::Decimal(progress.exact_total.value()),
    ]);
    cells.extend(std::iter::repeat_n(Cell::Blank, 7));
    cells.extend(frame(report));
    cells
}

fn amounts(components: &[ComponentAmount], currency: Currency) -> impl Iterator<Item = Cell> + '_ {
    components
        .iter()
        .map(move |component| Cell::Amount(component.amount, currency))
}

/// What every record says of the report.
fn frame(report: &ReplicaCost) -> [Cell; 5] {
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
