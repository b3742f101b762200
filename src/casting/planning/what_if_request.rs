//! What is to be varied of a plan, each by itself, and what is wrong with that.
//!
//! Invariant: no list has more than [`LINES_MAX`] lines. Deliberately absent: two things varied at once.

use serde::Deserialize;
use utoipa::ToSchema;

use super::request::PlanRequest;
use crate::base::{Code, Error, FieldError, Micro};

/// Most lines of one list.
pub const LINES_MAX: usize = 24;

/// Most that a price is changed by: a hundredfold more.
const CHANGE_MAX: Micro = Micro::from_int(100);

/// A plan, and what to vary of it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WhatIfIn {
    /// The plan as it would be asked for.
    pub plan: PlanRequest,
    /// Most trays in a cup of mix.
    #[serde(default)]
    #[schema(max_items = 24, value_type = Vec<Trays>)]
    pub containers_per_batch: Vec<u32>,
    /// How long a cup drains, in s.
    #[serde(default)]
    #[schema(max_items = 24)]
    pub drain_time_s: Vec<Micro>,
    /// Other trays, by their codes.
    #[serde(default)]
    #[schema(max_items = 24)]
    pub container: Vec<Code>,
    /// Other prices.
    #[serde(default)]
    #[schema(max_items = 24)]
    pub prices: Vec<PriceChange>,
    /// Shares of good chips, above 0 and below 1.
    #[serde(default, rename = "yield")]
    #[schema(max_items = 24)]
    pub yields: Vec<Micro>,
}

/// Most trays in a cup of mix, as they show in the document.
#[derive(ToSchema)]
#[schema(minimum = 1, maximum = 1000)]
#[allow(dead_code)] // It stands in the document only.
struct Trays(u32);

/// Another price of one material.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PriceChange {
    /// The material's code; the recipe needs it.
    pub material: Code,
    /// By which share the price changes, above -1 and at most 100: `0.10` is a tenth more, `-0.5` is half of it.
    pub change: Micro,
}

impl WhatIfIn {
    /// What is wrong with the request in itself, each with its JSON pointer.
    ///
    /// # Errors
    /// [`Error::Invalid`] with every fault found.
    ///
    /// ```
    /// use heeltap::casting::planning::what_if_request::WhatIfIn;
    /// let asked = |more: &str| {
    ///     let plan = r#""plan": {"recipe": "chip", "containers": 4, "cast_on": "2026-03-01"}"#;
    ///     serde_json::from_str::<WhatIfIn>(&format!("{{{plan}, {more}}}")).unwrap()
    /// };
    /// assert!(asked(r#""yield": ["0.8"]"#).check().is_ok());
    /// assert!(asked(r#""yield": ["80"]"#).check().is_err());
    /// assert!(asked(r#""prices": []"#).check().is_err(), "nothing is varied");
    /// ```
    pub fn check(&self) -> Result<(), Error> {
        let mut faults = match self.plan.check().map_err(at_plan) {
            Err(Error::Invalid(faults)) => faults,
            Err(other) => return Err(other),
            Ok(()) => Vec::new(),
        };
        let lists = [
            ("containers_per_batch", self.containers_per_batch.len()),
            ("drain_time_s", self.drain_time_s.len()),
            ("container", self.container.len()),
            ("prices", self.prices.len()),
            ("yield", self.yields.len()),
        ];
        if lists.iter().all(|(_, lines)| *lines == 0) {
            let names: Vec<&str> = lines_of(&lists);
            let detail = format!(
                "nothing is varied: send at least one of {}",
                names.join(", ")
            );
            faults.push(FieldError::new("", detail));
        }
        for (name, lines) in lists.iter().filter(|(_, lines)| *lines > LINES_MAX) {
            let detail = format!("{lines} lines are too many: at most {LINES_MAX}");
            faults.push(FieldError::new(format!("/{name}"), detail));
        }
        self.check_values(&mut faults);
        if faults.is_empty() {
            Ok(())
        } else {
            Err(Error::Invalid(faults))
        }
    }

    fn check_values(&self, faults: &mut Vec<FieldError>) {
        let mut check = |right: bool, pointer: String, value: String, bounds: &str| {
            if !right {
                let detail = format!("{value} is out of range: {bounds}");
                faults.push(FieldError::new(pointer, detail));
            }
        };
        for (at, trays) in self.containers_per_batch.iter().enumerate() {
            let pointer = format!("/containers_per_batch/{at}");
            check(
                (1..=1_000).contains(trays),
                pointer,
                trays.to_string(),
                "1 to 1000 trays",
            );
        }
        let one = Micro::from_int(1);
        for (at, share) in self.yields.iter().enumerate() {
            let right = *share > Micro::ZERO && *share < one;
            check(
                right,
                format!("/yield/{at}"),
                share.to_string(),
                "above 0 and below 1",
            );
        }
        for (at, price) in self.prices.iter().enumerate() {
            let change = price.change;
            let right = change > Micro::from_int(-1) && change <= CHANGE_MAX;
            let bounds = "above -1 and at most 100, as a share of the price";
            check(
                right,
                format!("/prices/{at}/change"),
                change.to_string(),
                bounds,
            );
        }
    }
}

fn lines_of<'a>(lists: &[(&'a str, usize)]) -> Vec<&'a str> {
    lists.iter().map(|(name, _)| *name).collect()
}

/// An error of the plan, with its pointers into the request.
pub(super) fn at_plan(error: Error) -> Error {
    match error {
        Error::Invalid(faults) => Error::Invalid(
            faults
                .into_iter()
                .map(|fault| FieldError::new(format!("/plan{}", fault.pointer), fault.detail))
                .collect(),
        ),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let mut whole =
            json!({"plan": {"recipe": "chip", "containers": 4, "cast_on": "2026-03-01"}});
        for (name, value) in patch.as_object().unwrap() {
            whole[name] = value.clone();
        }
        let request: WhatIfIn = serde_json::from_value(whole).unwrap();
        let faults = match request.check() {
            Ok(()) => vec![],
            Err(Error::Invalid(faults)) => faults.into_iter().map(|f| f.pointer).collect(),
            Err(other) => panic!("{other}"),
        };
        assert_eq!(faults, expected);
    }

    #[test]
    fn bounds() {
        check(json!({}), &[""]);
        check(json!({"drain_time_s": ["30"]}), &[]);
        check(json!({"drain_time_s": vec!["30"; 24]}), &[]);
        check(json!({"drain_time_s": vec!["30"; 25]}), &["/drain_time_s"]);
        check(
            json!({"containers_per_batch": [1, 0, 1001]}),
            &["/containers_per_batch/1", "/containers_per_batch/2"],
        );
        check(json!({"yield": ["0.000001", "0.999999"]}), &[]);
        check(
            json!({"yield": ["0", "1", "-1"]}),
            &["/yield/0", "/yield/1", "/yield/2"],
        );
        let price = |change: &str| json!({"prices": [{"material": "base", "change": change}]});
        check(price("-0.999999"), &[]);
        check(price("100"), &[]);
        check(price("-1"), &["/prices/0/change"]);
        check(price("100.000001"), &["/prices/0/change"]);
        check(
            json!({"plan": {"recipe": "chip", "cast_on": "2026-03-01"}, "yield": ["0.5"]}),
            &["/plan/containers"],
        );
    }
}
