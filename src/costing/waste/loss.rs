//! What was lost outside of casts.

use chrono::NaiveDate;

use super::category::Category;
use super::grouping::{WasteBy, WasteKey};
use crate::base::Money;

/// A loss, or what took one back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loss {
    /// Which.
    pub category: Category,
    /// The material; none for coats and moulds.
    pub material_id: Option<i64>,
    /// The grant that paid for the lot, if one did.
    pub funded_by_id: Option<i64>,
    /// The day.
    pub on: NaiveDate,
    /// What was lost; below 0 for what was taken back.
    pub amount: Money,
}

impl Loss {
    /// The kind of a movement of the ledger, by its word and reason; none for what is no loss.
    ///
    /// ```
    /// use heeltap::costing::waste::{category::Category, loss::Loss};
    /// assert_eq!(Loss::category_of("write_off", "heel"), Some(Category::Heel));
    /// assert_eq!(Loss::category_of("consumption", ""), None);
    /// ```
    #[must_use]
    pub fn category_of(kind: &str, reason: &str) -> Option<Category> {
        match kind {
            "spill" => Some(Category::Spilled),
            "count" => Some(Category::Counted),
            "write_off" => Some(Category::of_write_off(reason)),
            _ => None,
        }
    }

    /// Its row.
    #[must_use]
    pub fn key(&self, by: WasteBy) -> WasteKey {
        match by {
            WasteBy::Grant => WasteKey::id(self.funded_by_id),
            WasteBy::Material => WasteKey::id(self.material_id),
            WasteBy::Month => WasteKey::month(self.on),
            WasteBy::Recipe | WasteBy::Cast => WasteKey::Rest,
        }
    }
}
