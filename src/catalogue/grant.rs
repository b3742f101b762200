//! A grant: who pays.
//!
//! Invariant: it does not end before it starts. Deliberately absent: what was charged to it (the costing room).

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{AMOUNT, Checks};
use super::noun::{CatalogueBody, Noun};
use crate::base::{Code, FieldError, Money};

/// The key under which reports show what no grant pays; no grant may have it as its code.
pub const UNASSIGNED: &str = "unassigned";

/// What happens to a cast that a grant does not pay for: on a day outside its own, or beyond its budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Beyond {
    /// It is booked all the same, and the answer says so.
    #[default]
    Warn,
    /// It is refused.
    Refuse,
}

/// A grant, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::GrantBody;
/// let grant: GrantBody = serde_json::from_value(serde_json::json!(
///     {"code": "g-1", "name": "Grant 1", "starts_on": "2026-01-01", "ends_on": "2025-12-31"}
/// ))?;
/// assert_eq!(grant.check()[0].pointer, "/ends_on");
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GrantBody {
    /// The code; it never changes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// The first day on which it pays, if it is limited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub starts_on: Option<NaiveDate>,
    /// The last day on which it pays, if it is limited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ends_on: Option<NaiveDate>,
    /// What it may spend on materials, in the base currency, if it is limited.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub materials_budget: Option<Money>,
    /// What happens to a cast outside its days or beyond its budget: `warn` unless said.
    #[serde(default)]
    pub beyond: Beyond,
}

impl GrantBody {
    /// Whether it pays on a day.
    ///
    /// ```
    /// use heeltap::catalogue::GrantBody;
    /// let grant: GrantBody = serde_json::from_value(serde_json::json!(
    ///     {"code": "g-1", "name": "Grant 1", "ends_on": "2026-12-31"}
    /// ))?;
    /// assert!(grant.pays_on("2026-12-31".parse()?));
    /// assert!(!grant.pays_on("2027-01-01".parse()?));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn pays_on(&self, day: NaiveDate) -> bool {
        self.starts_on.is_none_or(|first| first <= day)
            && self.ends_on.is_none_or(|last| day <= last)
    }

    /// The budget beyond which it refuses casts, if it does. Whoever charges it must hold it alone, so that two charges at
    /// once do not both count on what is left.
    ///
    /// ```
    /// use heeltap::catalogue::GrantBody;
    /// let grant = |beyond: &str| -> GrantBody {
    ///     serde_json::from_value(serde_json::json!(
    ///         {"code": "g-1", "name": "Grant 1", "materials_budget": "500", "beyond": beyond}
    ///     )).unwrap()
    /// };
    /// assert!(grant("refuse").strict_budget().is_some());
    /// assert_eq!(grant("warn").strict_budget(), None);
    /// ```
    #[must_use]
    pub fn strict_budget(&self) -> Option<Money> {
        self.materials_budget
            .filter(|_| self.beyond == Beyond::Refuse)
    }

    /// Everything wrong with the values, each with its pointer; empty when all is right.
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        checks.decimal_if("/materials_budget", self.materials_budget, AMOUNT);
        if self.code.as_str() == UNASSIGNED {
            let detail = "`unassigned` stands for casts that no grant pays: send another code";
            checks.wrong("/code", detail.to_owned());
        }
        if let (Some(first), Some(last)) = (self.starts_on, self.ends_on)
            && last < first
        {
            checks.wrong(
                "/ends_on",
                format!("{last} is out of range: send {first} (when it starts) or later"),
            );
        }
        checks.done()
    }
}

impl CatalogueBody for GrantBody {
    const NOUN: Noun = Noun::Grant;

    fn code(&self) -> &Code {
        &self.code
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn check(&self) -> Vec<FieldError> {
        self.check()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::merge_patch;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let whole = json!({"code": "g-1", "name": "Grant 1"});
        let body: GrantBody = serde_json::from_value(merge_patch(whole, patch)).unwrap();
        let found: Vec<String> = body.check().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn an_older_document_warns() {
        let old: GrantBody =
            serde_json::from_value(json!({"code": "g-1", "name": "Grant 1"})).unwrap();
        assert_eq!(old.beyond, Beyond::Warn);
        let strict = json!({"code": "g-1", "name": "Grant 1", "beyond": "refuse"});
        let strict: GrantBody = serde_json::from_value(strict).unwrap();
        assert_eq!(serde_json::to_value(&strict).unwrap()["beyond"], "refuse");
        let wrong = json!({"code": "g-1", "name": "Grant 1", "beyond": "forbid"});
        assert!(serde_json::from_value::<GrantBody>(wrong).is_err());
    }

    #[test]
    fn bounds() {
        check(json!({}), &[]);
        check(
            json!({"starts_on": "2026-01-01", "ends_on": "2026-01-01", "materials_budget": "0"}),
            &[],
        );
        check(
            json!({"name": " ", "starts_on": "2026-01-02", "ends_on": "2026-01-01", "materials_budget": "-1"}),
            &["/name", "/materials_budget", "/ends_on"],
        );
    }
}
