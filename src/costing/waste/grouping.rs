//! By what the report of waste is grouped, and what its rows are about.
//!
//! Invariant: every amount has exactly one row. What no grant pays, no cast accounts for, or no material stands behind has
//! a row of its own, the last.

use chrono::{Datelike, NaiveDate};
use serde::Serialize;
use utoipa::ToSchema;

use crate::catalogue::UNASSIGNED;
use crate::costing::replica_cost::report::WITHOUT_MATERIAL;

/// By what the report is grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WasteBy {
    /// By who pays: of a cast those who are charged for it, of a loss the grant that paid for the lot.
    #[default]
    Grant,
    /// By material.
    Material,
    /// By the month: of a cast that of its demould, of a loss that of its day.
    Month,
    /// By recipe.
    Recipe,
    /// Cast by cast.
    Cast,
}

impl WasteBy {
    /// Every way of grouping.
    pub const ALL: [Self; 5] = [
        Self::Grant,
        Self::Material,
        Self::Month,
        Self::Recipe,
        Self::Cast,
    ];

    /// Its word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Grant => "grant",
            Self::Material => "material",
            Self::Month => "month",
            Self::Recipe => "recipe",
            Self::Cast => "cast",
        }
    }

    /// The way of a word; none when the word is unknown.
    ///
    /// ```
    /// use heeltap::costing::waste::grouping::WasteBy;
    /// assert_eq!(WasteBy::from_word("material"), Some(WasteBy::Material));
    /// ```
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.as_str() == word)
    }

    /// The key of the row of all that has no other.
    #[must_use]
    pub const fn rest(self) -> &'static str {
        match self {
            Self::Grant => UNASSIGNED,
            Self::Material => WITHOUT_MATERIAL,
            Self::Month => "without_month",
            Self::Recipe | Self::Cast => "outside_casts",
        }
    }
}

/// What a row is about, in the order of the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum WasteKey {
    /// A grant, recipe, material or cast, by its id.
    Id(i64),
    /// A month: year, month.
    Month(i32, u32),
    /// All that has no other row.
    Rest,
}

impl WasteKey {
    /// The row of an id, or of all that has none.
    #[must_use]
    pub fn id(id: Option<i64>) -> Self {
        id.map_or(Self::Rest, Self::Id)
    }

    /// The row of a day's month.
    ///
    /// ```
    /// use heeltap::costing::waste::grouping::WasteKey;
    /// assert_eq!(WasteKey::month("2026-03-04".parse().unwrap()), WasteKey::Month(2026, 3));
    /// ```
    #[must_use]
    pub fn month(day: NaiveDate) -> Self {
        Self::Month(day.year(), day.month())
    }
}
