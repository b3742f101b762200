//! What the forecast needs to know of anything that is ordered: a material, or a kit.
//!
//! Invariant: each default of ours stands here once. Deliberately absent: the sums (the reorder room does them).

use super::check::{AMOUNT, COUNT_MAX, Checks, DAYS_MAX, FRACTION, QUANTILE};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Micro, Money};

/// The share of times stock should last until an order arrives, unless said: 0.95 (*assumption*).
pub const SERVICE_LEVEL_DEFAULT: Micro = Micro::from_micro(950_000);
/// How often stock is looked at, unless said: every day, as the service itself does (*assumption*).
pub const REVIEW_DAYS_DEFAULT: u32 = 1;
/// The least packs that can be ordered, unless said.
pub const MIN_PACKS_DEFAULT: u32 = 1;

/// What the service level is a share of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ServiceMeasure {
    /// Of the times an order is waited for, those without a shortage.
    #[default]
    Cycle,
    /// Of what is asked for, what is there.
    FillRate,
}

/// The terms on which a material or a kit is ordered; defaults are filled in where there is one.
///
/// ```
/// use heeltap::catalogue::ReorderTerms;
/// let terms = ReorderTerms::default();
/// assert_eq!(terms.service_level.to_string(), "0.95");
/// assert_eq!((terms.review_days, terms.approval_days, terms.min_packs), (1, 0, 1));
/// assert_eq!(terms.lead_time_days, None);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReorderTerms {
    /// Days from ordering to arrival, if stated.
    pub lead_time_days: Option<u32>,
    /// The share of times that stock lasts until an order arrives, or of what is asked for that is there, 0.5 to 0.9999.
    pub service_level: Micro,
    /// Which of the two.
    pub service_measure: ServiceMeasure,
    /// What one order costs besides the goods, in the base currency, if stated.
    pub order_cost: Option<Money>,
    /// What keeping stock for a year costs, as a share of its value, if stated.
    pub holding_rate: Option<Micro>,
    /// The least packs that can be ordered, at least 1.
    pub min_packs: u32,
    /// Days between two looks at the stock, at least 1.
    pub review_days: u32,
    /// Working days that an approval takes before an order can go out.
    pub approval_days: u32,
    /// Days from receipt to expiry that can be counted on, if stated.
    pub shelf_life_days: Option<u32>,
}

impl Default for ReorderTerms {
    fn default() -> Self {
        Self {
            lead_time_days: None,
            service_level: SERVICE_LEVEL_DEFAULT,
            service_measure: ServiceMeasure::default(),
            order_cost: None,
            holding_rate: None,
            min_packs: MIN_PACKS_DEFAULT,
            review_days: REVIEW_DAYS_DEFAULT,
            approval_days: 0,
            shelf_life_days: None,
        }
    }
}

/// The terms as they were sent.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct StatedTerms {
    pub(super) lead_time_days: Option<u32>,
    pub(super) service_level: Option<Micro>,
    pub(super) service_measure: Option<ServiceMeasure>,
    pub(super) order_cost: Option<Money>,
    pub(super) holding_rate: Option<Micro>,
    pub(super) min_packs: Option<u32>,
    pub(super) review_days: Option<u32>,
    pub(super) approval_days: Option<u32>,
    pub(super) shelf_life_days: Option<u32>,
}

impl StatedTerms {
    /// Adds what is wrong with them.
    pub(super) fn check(&self, checks: &mut Checks) {
        checks.count_if("/lead_time_days", self.lead_time_days, 0, DAYS_MAX);
        checks.decimal_if("/service_level", self.service_level, QUANTILE);
        checks.decimal_if("/order_cost", self.order_cost, AMOUNT);
        checks.decimal_if("/holding_rate", self.holding_rate, FRACTION);
        checks.count_if("/min_packs", self.min_packs, 1, COUNT_MAX);
        checks.count_if("/review_days", self.review_days, 1, DAYS_MAX);
        checks.count_if("/approval_days", self.approval_days, 0, DAYS_MAX);
        checks.count_if("/shelf_life_days", self.shelf_life_days, 1, DAYS_MAX);
    }

    /// The terms with our defaults.
    pub(super) fn filled(&self) -> ReorderTerms {
        let default = ReorderTerms::default();
        ReorderTerms {
            lead_time_days: self.lead_time_days,
            service_level: self.service_level.unwrap_or(default.service_level),
            service_measure: self.service_measure.unwrap_or(default.service_measure),
            order_cost: self.order_cost,
            holding_rate: self.holding_rate,
            min_packs: self.min_packs.unwrap_or(default.min_packs),
            review_days: self.review_days.unwrap_or(default.review_days),
            approval_days: self.approval_days.unwrap_or(default.approval_days),
            shelf_life_days: self.shelf_life_days,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_stated_is_kept_and_the_rest_filled() {
        let stated = StatedTerms {
            lead_time_days: Some(10),
            min_packs: Some(3),
            ..StatedTerms::default()
        };
        let expected = ReorderTerms {
            lead_time_days: Some(10),
            min_packs: 3,
            ..ReorderTerms::default()
        };
        assert_eq!(stated.filled(), expected);
    }

    #[test]
    fn every_term_has_its_bounds() {
        let stated = StatedTerms {
            lead_time_days: Some(DAYS_MAX + 1),
            service_level: Some(Micro::from_int(1)),
            service_measure: None,
            order_cost: Money::parse("-1").ok(),
            holding_rate: Micro::parse("1.5").ok(),
            min_packs: Some(0),
            review_days: Some(0),
            approval_days: Some(DAYS_MAX + 1),
            shelf_life_days: Some(0),
        };
        let mut checks = Checks::default();
        stated.check(&mut checks);
        assert_eq!(checks.done().len(), 8);
    }
}
