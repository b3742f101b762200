//! Kept advice as those read it who tell others of it.
//!
//! Invariant: it is read from what `view` wrote, so that both say the same. Deliberately absent: the figures behind it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::view::ItemKind;
use crate::base::Quantity;

/// What kept advice says of a material or a kit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptAdvice {
    /// The code.
    pub material: String,
    /// The name.
    pub name: String,
    /// Whether it is a material or a kit.
    pub kind: ItemKind,
    /// The kit that a material is ordered as.
    pub kit: Option<String>,
    /// Whether its day to order is told to anybody; unknown of advice that an earlier version kept.
    watched: Option<bool>,
    /// How much to order, in `order_unit`.
    pub order_quantity: Quantity,
    /// The unit of that, or `kit`.
    pub order_unit: String,
    /// The same in packs or kits.
    pub order_packs: u64,
    /// The last day to order, if an order is needed within the days looked ahead.
    pub order_by: Option<NaiveDate>,
    /// Whether that day is gone.
    pub late: bool,
    /// Whether to order now.
    pub due: bool,
    /// Why, in one sentence.
    pub reason: String,
}

impl KeptAdvice {
    /// Whether its day to order is told to anybody.
    ///
    /// ```
    /// use heeltap::reorder::kept::KeptAdvice;
    /// let mut kept = serde_json::json!({"material": "base", "name": "Base", "kind": "material", "kit": null, "order_quantity": "1",
    ///     "order_unit": "g", "order_packs": 1, "order_by": null, "late": false, "due": false, "reason": "It lasts."});
    /// let watched = |kept: &serde_json::Value| serde_json::from_value::<KeptAdvice>(kept.clone()).map(|advice| advice.is_watched());
    /// assert!(watched(&kept)?);
    /// kept["kit"] = "kit-a".into();
    /// assert!(!watched(&kept)?);
    /// # Ok::<(), serde_json::Error>(())
    /// ```
    #[must_use]
    pub fn is_watched(&self) -> bool {
        self.watched.unwrap_or(self.kit.is_none())
    }
}
