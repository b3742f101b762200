//! What became of a file that was received: its rows, a part at a time, with the lots they made.

use crate::base::Currency;
use crate::pages::words::counted;
use crate::purchasing::ops::ImportDetail;

use super::dry_run::{outcome_words, parts};
use super::lots::{Items, LotShown, lot_reported};

/// How many rows a page has.
const ROWS_SHOWN: usize = 100;

/// What became of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Outcome {
    /// What happened.
    pub(super) sentence: String,
    /// The rows.
    pub(super) rows: Vec<RowKept>,
    /// The line after which the next rows stand.
    pub(super) next: Option<u64>,
    /// Whether rows came before.
    pub(super) later: bool,
}

/// What became of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct RowKept {
    /// The line of the file.
    pub(super) line: u64,
    /// What became of it.
    pub(super) outcome: &'static str,
    /// The lots it made.
    pub(super) lots: Vec<LotShown>,
    /// What was to be looked at.
    pub(super) notes: Vec<String>,
}

/// What became of the rows after a line.
pub(super) fn outcome(
    import: &ImportDetail,
    after: u64,
    (items, currency): (&Items, Currency),
) -> Outcome {
    let report = &import.report;
    let rows: Vec<_> = report.rows.iter().filter(|row| row.line > after).collect();
    let shown = rows.iter().take(ROWS_SHOWN).map(|row| RowKept {
        line: row.line,
        outcome: outcome_words(row.outcome, false),
        lots: row
            .lots
            .iter()
            .map(|lot| lot_reported(lot, items, currency))
            .collect(),
        notes: row
            .warnings
            .iter()
            .map(|note| format!("{}: {}", note.column, note.detail))
            .collect(),
    });
    let all = i64::try_from(report.rows.len()).unwrap_or(i64::MAX);
    let rows_all = counted(all, "row", "rows");
    Outcome {
        sentence: format!("Of {rows_all}: {}.", parts(report).join(", ")),
        rows: shown.collect(),
        next: rows
            .get(ROWS_SHOWN)
            .and_then(|_| rows.get(ROWS_SHOWN - 1))
            .map(|row| row.line),
        later: after > 0,
    }
}

/// The codes of the materials that the shown part names.
pub(super) fn codes_of(import: &ImportDetail, after: u64) -> Vec<String> {
    let rows = import.report.rows.iter().filter(|row| row.line > after);
    let lots = rows.take(ROWS_SHOWN).flat_map(|row| &row.lots);
    let mut codes: Vec<String> = lots.map(|lot| lot.material.clone()).collect();
    codes.sort_unstable();
    codes.dedup();
    codes
}
