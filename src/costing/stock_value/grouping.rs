//! By what the report of the stock's value is grouped.

use chrono::Datelike;
use serde::Serialize;
use utoipa::ToSchema;

use super::flow::LotKnown;

/// By what the report is grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StockBy {
    /// By material.
    #[default]
    Material,
    /// By the grant that paid for the lot.
    Grant,
    /// By the month in which the lot was received.
    Month,
    /// Lot by lot.
    Lot,
}

impl StockBy {
    /// Every way of grouping.
    pub const ALL: [Self; 4] = [Self::Material, Self::Grant, Self::Month, Self::Lot];

    /// Its word.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Material => "material",
            Self::Grant => "grant",
            Self::Month => "month",
            Self::Lot => "lot",
        }
    }

    /// The way of a word; none when the word is unknown.
    ///
    /// ```
    /// use heeltap::costing::stock_value::grouping::StockBy;
    /// assert_eq!(StockBy::from_word("lot"), Some(StockBy::Lot));
    /// ```
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.as_str() == word)
    }
}

/// What a row is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum StockKey {
    /// A material, grant or lot, by its id.
    Id(i64),
    /// A month: year, month.
    Month(i32, u32),
    /// Lots that no grant paid for.
    Unassigned,
}

impl StockKey {
    /// The row of a lot.
    ///
    /// ```
    /// use heeltap::costing::stock_value::flow::LotKnown;
    /// use heeltap::costing::stock_value::grouping::{StockBy, StockKey};
    /// let lot = LotKnown {
    ///     material_id: 3, funded_by_id: None, code: "L-1".into(), kit_lot: None,
    ///     received_on: "2026-03-04".parse().unwrap(),
    /// };
    /// assert_eq!(StockKey::of(StockBy::Month, 7, &lot), StockKey::Month(2026, 3));
    /// assert_eq!(StockKey::of(StockBy::Grant, 7, &lot), StockKey::Unassigned);
    /// ```
    #[must_use]
    pub fn of(by: StockBy, lot_id: i64, lot: &LotKnown) -> Self {
        match by {
            StockBy::Material => Self::Id(lot.material_id),
            StockBy::Grant => lot.funded_by_id.map_or(Self::Unassigned, Self::Id),
            StockBy::Month => Self::Month(lot.received_on.year(), lot.received_on.month()),
            StockBy::Lot => Self::Id(lot_id),
        }
    }
}
