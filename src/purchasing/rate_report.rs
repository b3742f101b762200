//! What an import of rates did or would do, row by row.
//!
//! Invariant: the report of a dry run and that of the commit of the same file at the same moment differ only in `dry_run`.
//! Deliberately absent: the decisions.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::cell::CellWarning;
use super::csv_file::CellError;
use crate::base::Currency;

/// What becomes of a row with a rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RateOutcome {
    /// There was no rate for its currency and day.
    Entered,
    /// It takes the place of another one.
    Replaced,
    /// The same rate from the same source is kept already.
    Unchanged,
    /// It is wrong, and so nothing of the file is kept.
    Error,
}

impl RateOutcome {
    /// Every outcome, in a fixed order.
    pub const ALL: [RateOutcome; 4] = [
        RateOutcome::Entered,
        RateOutcome::Replaced,
        RateOutcome::Unchanged,
        RateOutcome::Error,
    ];

    /// The outcome's word.
    ///
    /// ```
    /// use heeltap::purchasing::rate_report::RateOutcome;
    /// assert_eq!(RateOutcome::Entered.as_str(), "entered");
    /// ```
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            RateOutcome::Entered => "entered",
            RateOutcome::Replaced => "replaced",
            RateOutcome::Unchanged => "unchanged",
            RateOutcome::Error => "error",
        }
    }
}

/// What becomes of one row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RateRowReport {
    /// The line of the file, from 1.
    pub line: u64,
    /// What becomes of it.
    pub outcome: RateOutcome,
    /// The currency, where it could be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub currency: Option<Currency>,
    /// The day, where it could be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rate_on: Option<NaiveDate>,
    /// What was accepted but should be looked at.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<CellWarning>,
    /// Everything wrong with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<CellError>,
}

/// What an import of rates did or would do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RateImportReport {
    /// Whether nothing was to be written.
    pub dry_run: bool,
    /// The rows in file order; blank ones are left out.
    pub rows: Vec<RateRowReport>,
}

impl RateImportReport {
    /// How many rows had an outcome.
    ///
    /// ```
    /// use heeltap::purchasing::rate_report::{RateImportReport, RateOutcome};
    /// let report = RateImportReport { dry_run: true, rows: Vec::new() };
    /// assert_eq!(report.count(RateOutcome::Error), 0);
    /// ```
    #[must_use]
    pub fn count(&self, outcome: RateOutcome) -> usize {
        self.rows.iter().filter(|r| r.outcome == outcome).count()
    }
}
