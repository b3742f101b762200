//! A look at a file: what receiving it would do, in a sentence, and its rows with every error and warning at its cell.
//!
//! Invariants: the sentence counts what the dry run says, and nothing else; rows in error come first, then those to look at,
//! then the rest, a part at a time; whatever the file holds, what is shown of it is short. Deliberately absent: what is right
//! and wrong (the dry run says so).

use crate::base::Currency;
use crate::pages::words::counted;
use crate::purchasing::csv_file::{Row, Table};
use crate::purchasing::report::{ImportReport, Outcome, RowReport};

use super::lots::{Items, LotShown, lot_reported};

/// The most rows of each kind on one page.
const ROWS_MAX: usize = 50;
/// About how many bytes the rows of each kind may take: with all three, a page stays well below 100 kB.
const BYTES_MAX: usize = 24_000;
/// About how many bytes a cell takes besides what stands in it, and a row besides its cells.
const CELL_BYTES: usize = 48;
const ROW_BYTES: usize = 160;
/// The longest text that is shown of a cell, in characters.
const CELL_CHARS_MAX: usize = 60;

/// A look at a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DryRun {
    /// What would happen.
    pub(super) sentence: String,
    /// Whether it can be received.
    pub(super) ready: bool,
    /// Whether a row is in error.
    pub(super) in_error: bool,
    /// The rows in error.
    pub(super) bad: Rows,
    /// The rows to look at.
    pub(super) odd: Rows,
    /// Some of the others.
    pub(super) rest: Rows,
    /// The line after which the next of the others stand.
    pub(super) next: Option<u64>,
}

/// Rows of a file, with the columns that say anything.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Rows {
    /// The columns.
    pub(super) columns: Vec<&'static str>,
    /// The rows.
    pub(super) rows: Vec<RowShown>,
    /// What is not shown, in words.
    pub(super) more: Option<String>,
}

/// A row of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RowShown {
    /// The line of the file.
    pub(super) line: u64,
    /// What would become of it.
    pub(super) outcome: &'static str,
    /// What is wrong with the row as a whole, or with what the file does not have.
    pub(super) faults: Vec<String>,
    /// What should be looked at, likewise.
    pub(super) notes: Vec<String>,
    /// The lots it would make.
    pub(super) lots: Vec<LotShown>,
    /// Its cells, one for each of the columns.
    pub(super) cells: Vec<CellShown>,
}

/// A cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CellShown {
    /// Its column.
    pub(super) column: &'static str,
    /// What stands there.
    pub(super) value: String,
    /// What is wrong with it.
    pub(super) faults: Vec<String>,
    /// What should be looked at.
    pub(super) notes: Vec<String>,
}

/// What became or would become of a row, in words.
pub(super) fn outcome_words(outcome: Outcome, dry_run: bool) -> &'static str {
    match (outcome, dry_run) {
        (Outcome::Created, true) => "would be received",
        (Outcome::Created, false) => "received",
        (Outcome::Ordered, true) => "would be on order",
        (Outcome::Ordered, false) => "on order",
        (Outcome::AlreadyImported, _) => "in the books already",
        (Outcome::Error, _) => "in error",
    }
}

fn number(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// `Lots`, `lines` and `rows` of a report as parts of a sentence; what there is none of is left out.
pub(super) fn parts(report: &ImportReport) -> Vec<String> {
    let (ordered, again) = (
        report.count(Outcome::Ordered),
        report.count(Outcome::AlreadyImported),
    );
    let lots = i64::try_from(report.lots_created).unwrap_or(i64::MAX);
    let (made, on_order, known) = match report.dry_run {
        true => ("would be made", "would be on order", "in the books already"),
        false => ("made", "on order", "in the books already"),
    };
    let are = |count: usize| if count == 1 { "is" } else { "are" };
    let mut parts = Vec::new();
    if lots > 0 {
        parts.push(format!("{} {made}", counted(lots, "lot", "lots")));
    }
    if ordered > 0 {
        let lines = counted(number(ordered), "line", "lines");
        parts.push(format!("{lines} {on_order}"));
    }
    if again > 0 {
        let rows = counted(number(again), "row", "rows");
        parts.push(format!("{rows} {} {known}", are(again)));
    }
    parts
}

fn sentence(report: &ImportReport) -> String {
    let (bad, all) = (report.count(Outcome::Error), report.rows.len());
    if all == 0 {
        return "The file has columns, and no row below them.".to_owned();
    }
    if bad > 0 {
        let rows = counted(number(all), "row", "rows");
        let are = if bad == 1 { "is" } else { "are" };
        return format!("{bad} of {rows} {are} in error, so nothing of the file can be received.");
    }
    if !report.brought_news() {
        return "Every row is in the books already: there is nothing to receive.".to_owned();
    }
    format!("{}.", parts(report).join(", "))
}

/// A look at a file, with the other rows after a line.
pub(super) fn dry_run(
    report: &ImportReport,
    table: &Table,
    after: u64,
    (items, currency): (&Items, Currency),
) -> DryRun {
    let (mut bad, mut odd, mut rest) = (Picked::default(), Picked::default(), Picked::default());
    for (row, cells) in report.rows.iter().zip(table.rows()) {
        let picked = match (row.errors.is_empty(), row.warnings.is_empty()) {
            (false, _) => &mut bad,
            (true, false) => &mut odd,
            (true, true) if row.line <= after => continue,
            (true, true) => &mut rest,
        };
        picked.take(row, cells, table);
    }
    let next = rest.next();
    let shown = |picked: Picked<'_>, what: &str| picked.shown(table, what, (items, currency));
    DryRun {
        sentence: sentence(report),
        ready: !report.has_errors() && report.brought_news(),
        in_error: report.has_errors(),
        bad: shown(bad, "rows in error"),
        odd: shown(odd, "rows to look at"),
        rest: shown(rest, "rows"),
        next,
    }
}

/// Rows that are to be shown, as long as there is room for them.
#[derive(Default)]
struct Picked<'a> {
    rows: Vec<(&'a RowReport, Row<'a>)>,
    bytes: usize,
    full: bool,
    more: usize,
}

impl<'a> Picked<'a> {
    fn take(&mut self, row: &'a RowReport, cells: Row<'a>, table: &Table) {
        if self.full {
            self.more += 1;
            return;
        }
        let said: usize = row
            .errors
            .iter()
            .map(|error| error.detail.len() + error.value.len())
            .chain(row.warnings.iter().map(|warning| warning.detail.len()))
            .chain(row.lots.iter().map(|lot| lot.lot.len().min(200)))
            .map(|length| length + CELL_BYTES)
            .sum();
        let held: usize = table
            .columns()
            .map(|column| cells.get(column).len().min(CELL_CHARS_MAX * 4) + CELL_BYTES)
            .sum();
        self.bytes += said + held + ROW_BYTES;
        self.full = self.rows.len() + 1 >= ROWS_MAX || self.bytes > BYTES_MAX;
        self.rows.push((row, cells));
    }

    fn next(&self) -> Option<u64> {
        let last = self.rows.last().map(|(row, _)| row.line);
        last.filter(|_| self.more > 0)
    }

    fn shown(self, table: &Table, what: &str, given: (&Items, Currency)) -> Rows {
        let says = |column: &str| {
            self.rows.iter().any(|(row, cells)| {
                !cells.get(column).is_empty()
                    || row.errors.iter().any(|error| error.column == column)
                    || row.warnings.iter().any(|warning| warning.column == column)
            })
        };
        let columns: Vec<&'static str> = table.columns().filter(|column| says(column)).collect();
        let more = (self.more > 0).then(|| format!("{} more {what} are not shown here", self.more));
        let rows = self.rows.iter();
        Rows {
            rows: rows
                .map(|(row, cells)| row_shown(row, *cells, &columns, given))
                .collect(),
            columns,
            more,
        }
    }
}

/// What stands at a column, or at none of the columns.
fn said(column: &str, value: &str, detail: &str, of_cell: bool) -> String {
    match (of_cell, column) {
        (true, _) | (_, "row") => detail.to_owned(),
        (false, _) if value.is_empty() => format!("{column}: {detail}"),
        (false, _) => format!("{column}, `{value}`: {detail}"),
    }
}

fn row_shown(
    row: &RowReport,
    cells: Row<'_>,
    columns: &[&'static str],
    (items, currency): (&Items, Currency),
) -> RowShown {
    let errors = |of: Option<&str>| -> Vec<String> {
        let here = |column: &str| match of {
            Some(of) => column == of,
            None => !columns.contains(&column),
        };
        let errors = row.errors.iter().filter(|error| here(&error.column));
        errors
            .map(|error| said(&error.column, &error.value, &error.detail, of.is_some()))
            .collect()
    };
    let notes = |of: Option<&str>| -> Vec<String> {
        let here = |column: &str| match of {
            Some(of) => column == of,
            None => !columns.contains(&column),
        };
        let notes = row.warnings.iter().filter(|note| here(&note.column));
        notes
            .map(|note| said(&note.column, &note.value, &note.detail, of.is_some()))
            .collect()
    };
    let cell = |column: &&'static str| CellShown {
        column,
        value: cut(cells.get(column)),
        faults: errors(Some(column)),
        notes: notes(Some(column)),
    };
    RowShown {
        line: row.line,
        outcome: outcome_words(row.outcome, true),
        faults: errors(None),
        notes: notes(None),
        lots: row
            .lots
            .iter()
            .map(|lot| lot_reported(lot, items, currency))
            .collect(),
        cells: columns.iter().map(cell).collect(),
    }
}

fn cut(text: &str) -> String {
    let mut cut: String = text.chars().take(CELL_CHARS_MAX).collect();
    if cut.len() < text.len() {
        cut.push('…');
    }
    cut
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::purchasing::csv_file::CellError;
    use crate::purchasing::row::COLUMNS;

    fn row(line: u64, outcome: Outcome) -> RowReport {
        let errors = match outcome {
            Outcome::Error => vec![CellError::new("packs", "x", "no number")],
            _ => Vec::new(),
        };
        RowReport {
            line,
            outcome,
            lots: Vec::new(),
            warnings: Vec::new(),
            errors,
        }
    }

    fn looked(outcomes: &[Outcome], after: u64) -> DryRun {
        let lines = 1..=outcomes.len() as u64;
        let rows: Vec<RowReport> = lines
            .zip(outcomes)
            .map(|(line, outcome)| row(line, *outcome))
            .collect();
        let cells = rows
            .iter()
            .map(|row| {
                let cell = |column: &str| match column {
                    "packs" => "x".to_owned(),
                    "lot" => format!("L{}", row.line),
                    _ => String::new(),
                };
                COLUMNS.iter().map(|column| cell(column.name)).collect()
            })
            .collect();
        let lots_created = outcomes
            .iter()
            .filter(|outcome| **outcome == Outcome::Created)
            .count() as u64;
        let report = ImportReport {
            id: None,
            dry_run: true,
            lots_created,
            rows,
        };
        let table = Table::of_cells(COLUMNS, cells);
        let currency = Currency::parse("EUR").unwrap();
        dry_run(&report, &table, after, (&Items::new(), currency))
    }

    #[track_caller]
    fn check(outcomes: &[Outcome], expected: &str, ready: bool) {
        let looked = looked(outcomes, 0);
        assert_eq!((looked.sentence.as_str(), looked.ready), (expected, ready));
    }

    #[test]
    fn a_sentence_says_what_would_happen() {
        use Outcome::{AlreadyImported, Created, Error, Ordered};
        check(&[], "The file has columns, and no row below them.", false);
        check(
            &[Created, Created, Ordered, AlreadyImported],
            "2 lots would be made, 1 line would be on order, 1 row is in the books already.",
            true,
        );
        check(
            &[Created, Error],
            "1 of 2 rows is in error, so nothing of the file can be received.",
            false,
        );
        check(
            &[AlreadyImported],
            "Every row is in the books already: there is nothing to receive.",
            false,
        );
    }

    #[test]
    fn an_error_stands_at_its_cell_and_before_the_other_rows() {
        let looked = looked(&[Outcome::Created, Outcome::Error], 0);
        let bad = &looked.bad;
        assert_eq!(bad.columns, ["lot", "packs"]);
        assert_eq!(bad.rows[0].line, 2);
        assert!(bad.rows[0].cells[0].faults.is_empty());
        assert_eq!(bad.rows[0].cells[1].faults, ["no number"]);
        assert_eq!(looked.rest.rows.len(), 1);
    }

    #[test]
    fn a_long_file_is_shown_a_part_at_a_time() {
        let mut outcomes = vec![Outcome::Created; 300];
        outcomes.extend([Outcome::Error; 80]);
        let (mut after, mut seen) = (0, 0);
        loop {
            let part = looked(&outcomes, after);
            assert!(part.bad.rows.len() <= ROWS_MAX && part.bad.more.is_some());
            assert_eq!(part.rest.rows[0].line, seen + 1);
            seen += part.rest.rows.len() as u64;
            match part.next {
                Some(next) => after = next,
                None => break,
            }
        }
        assert_eq!(seen, 300);
    }
}
