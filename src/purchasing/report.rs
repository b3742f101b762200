//! What an import did or would do, row by row: shown to the sender and kept with the import.
//!
//! Invariant: the report of a dry run and that of the commit of the same file differ only in ids and `dry_run`.
//! Deliberately absent: the decisions.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::csv_file::CellError;
use super::row::CellWarning;
use crate::base::{Money, Quantity};

/// What becomes of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It was received: it made a lot, or two of a kit.
    Created,
    /// It is on order.
    Ordered,
    /// It is in the books already; nothing is to be done.
    AlreadyImported,
    /// It is wrong, and so nothing of the file is kept.
    Error,
}

impl Outcome {
    /// Every outcome, in a fixed order.
    pub const ALL: [Outcome; 4] = [
        Outcome::Created,
        Outcome::Ordered,
        Outcome::AlreadyImported,
        Outcome::Error,
    ];

    /// The outcome's word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Outcome::Created => "created",
            Outcome::Ordered => "ordered",
            Outcome::AlreadyImported => "already_imported",
            Outcome::Error => "error",
        }
    }
}

/// A lot that a row made or would make.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LotReport {
    /// The lot's id; none in a dry run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub id: Option<i64>,
    /// The material's code.
    pub material: String,
    /// The supplier's lot code.
    pub lot: String,
    /// The code that both parts of a kit share.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kit_lot: Option<String>,
    /// Number of packs.
    pub packs: u32,
    /// What one pack holds, in the material's unit.
    pub pack_quantity: Quantity,
    /// What the lot cost, freight, duty and fees included, in the base currency.
    pub landed_cost: Money,
}

/// What becomes of one row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RowReport {
    /// The line of the file, from 1.
    pub line: u64,
    /// What becomes of it.
    pub outcome: Outcome,
    /// The lots it made or would make.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lots: Vec<LotReport>,
    /// What was accepted but should be looked at.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<CellWarning>,
    /// Everything wrong with it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<CellError>,
}

/// What an import did or would do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ImportReport {
    /// The import's id; none in a dry run. When nothing was new, the id of the import that brought the same file, if
    /// there is one.
    pub id: Option<i64>,
    /// Whether nothing was to be written.
    pub dry_run: bool,
    /// Lots that were made, or would be; 0 when a row is in error.
    pub lots_created: u64,
    /// The rows in file order; blank ones are left out.
    pub rows: Vec<RowReport>,
}

impl ImportReport {
    /// How many rows had an outcome.
    #[must_use]
    pub fn count(&self, outcome: Outcome) -> usize {
        self.rows.iter().filter(|r| r.outcome == outcome).count()
    }

    /// Whether any row was or would be written.
    #[must_use]
    pub fn brought_news(&self) -> bool {
        self.count(Outcome::Created) + self.count(Outcome::Ordered) > 0
    }

    /// Whether any row is in error.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.rows.iter().any(|row| row.outcome == Outcome::Error)
    }
}
