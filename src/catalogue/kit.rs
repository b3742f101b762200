//! A kit: a purchasable pack of base and curing agent matched by the maker.
//!
//! Invariant: it names an elastomer, whose base and curing agent are what a received kit adds to the stock.
//! Deliberately absent: kit lots (stock).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{Checks, MASS_G};
use super::noun::{CatalogueBody, Link, Noun};
use super::terms::{ReorderTerms, ServiceMeasure, StatedTerms};
use crate::base::{Code, FieldError, Micro, Money, Quantity};

/// A kit, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::KitBody;
/// let kit: KitBody = serde_json::from_value(serde_json::json!(
///     {"code": "kit-a", "name": "Kit A", "elastomer": "el-a", "base_g": "1000", "curing_agent_g": "100"}
/// ))?;
/// assert!(kit.check().is_empty());
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KitBody {
    /// The code; it never changes, and materials and kits share one set of codes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// The code of the elastomer.
    pub elastomer: Code,
    /// The base in one kit, in g.
    pub base_g: Quantity,
    /// The curing agent in one kit, in g.
    pub curing_agent_g: Quantity,
    /// Days from ordering to arrival, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 36_500)]
    pub lead_time_days: Option<u32>,
    /// The probability that stock should last until an order arrives, 0.5 to 0.9999; 0.95 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service_level: Option<Micro>,
    /// What the service level is a share of: `cycle` (the times an order is waited for) unless said, or `fill_rate` (what is
    /// asked for).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service_measure: Option<ServiceMeasure>,
    /// What one order costs besides the goods, in the base currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_cost: Option<Money>,
    /// What keeping stock for a year costs, as a share of its value, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub holding_rate: Option<Micro>,
    /// The least kits that can be ordered; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub min_packs: Option<u32>,
    /// Days between two looks at the stock; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 36_500)]
    pub review_days: Option<u32>,
    /// Working days that an approval takes before an order goes out; 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 36_500)]
    pub approval_days: Option<u32>,
    /// Days from receipt to expiry that can be counted on, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 36_500)]
    pub shelf_life_days: Option<u32>,
}

impl KitBody {
    /// The terms on which it is ordered, with our defaults.
    #[must_use]
    pub fn reorder_terms(&self) -> ReorderTerms {
        self.stated_terms().filled()
    }

    fn stated_terms(&self) -> StatedTerms {
        StatedTerms {
            lead_time_days: self.lead_time_days,
            service_level: self.service_level,
            service_measure: self.service_measure,
            order_cost: self.order_cost,
            holding_rate: self.holding_rate,
            min_packs: self.min_packs,
            review_days: self.review_days,
            approval_days: self.approval_days,
            shelf_life_days: self.shelf_life_days,
        }
    }

    /// Everything wrong with the values, each with its pointer; empty when all is right.
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        checks.decimal("/base_g", self.base_g, MASS_G);
        checks.decimal("/curing_agent_g", self.curing_agent_g, MASS_G);
        self.stated_terms().check(&mut checks);
        checks.done()
    }
}

impl CatalogueBody for KitBody {
    const NOUN: Noun = Noun::Kit;

    fn code(&self) -> &Code {
        &self.code
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn check(&self) -> Vec<FieldError> {
        self.check()
    }

    fn links(&self) -> Vec<Link> {
        vec![Link::to("elastomer", Noun::Elastomer, &self.elastomer)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::merge_patch;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let whole = json!({"code": "kit-a", "name": "Kit A", "elastomer": "el-a", "base_g": "1000", "curing_agent_g": "100"});
        let body: KitBody = serde_json::from_value(merge_patch(whole, patch)).unwrap();
        let found: Vec<String> = body.check().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn bounds() {
        check(json!({}), &[]);
        check(
            json!({"base_g": "0", "curing_agent_g": "1000001", "lead_time_days": 40_000, "min_packs": 0}),
            &[
                "/base_g",
                "/curing_agent_g",
                "/lead_time_days",
                "/min_packs",
            ],
        );
    }
}
