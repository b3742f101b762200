//! What a plan is asked for. Kept on the cast as it was asked, so that it can be planned again.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Code, Error, FieldError, Micro};

/// A share of a cast's cost.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Charge {
    /// The grant's code.
    pub grant: Code,
    /// Its share in per cent; the shares add up to exactly 100.
    pub share: Micro,
}

/// What is to be planned or booked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanRequest {
    /// The recipe's code.
    pub recipe: Code,
    /// How many trays; or say how many good chips are wanted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1000)]
    pub containers: Option<u32>,
    /// How many good chips are wanted: the trays are chosen so that there are as many with probability 0.90.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1000000)]
    pub good_chips_wanted: Option<u32>,
    /// Groups of a course, each with cups of its own; 1 unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1000)]
    pub groups: Option<u32>,
    /// Most trays that one cup of mix is to fill; as many as cup and pot life allow unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1000)]
    pub containers_per_batch: Option<u32>,
    /// The day of the cast.
    pub cast_on: NaiveDate,
    /// Who pays; nobody in particular unless said.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub charges: Vec<Charge>,
    /// The quantile of the residue to plan for, above 0 and below 1; the recipe's unless said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub residue_quantile: Option<Micro>,
    /// Whether base and curing agent may come from different kit lots.
    #[serde(default)]
    pub allow_mixed_kits: bool,
    /// Whether another grant's stock may be used.
    #[serde(default)]
    pub allow_cross_charge: bool,
    /// Whether to book although stock is short.
    #[serde(default)]
    pub allow_short: bool,
    /// Whether stock promised to later casts may be taken from them.
    #[serde(default)]
    pub take_from_later: bool,
    /// Why a cure above what tray or mould bears is wanted all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 200, pattern = r"\S")]
    pub heat_override_reason: Option<String>,
}

const TRAYS_MAX: u32 = 1_000;
const CHIPS_MAX: u32 = 1_000_000;
const HUNDRED_PER_CENT: i64 = 100_000_000;

impl PlanRequest {
    /// What is wrong with the request in itself, each with its JSON pointer.
    ///
    /// # Errors
    /// [`Error::Invalid`] with every fault found.
    ///
    /// ```
    /// use heeltap::casting::planning::request::PlanRequest;
    /// let asked = |body: &str| serde_json::from_str::<PlanRequest>(body).unwrap();
    /// assert!(asked(r#"{"recipe": "chip", "containers": 4, "cast_on": "2026-03-01"}"#).check().is_ok());
    /// assert!(asked(r#"{"recipe": "chip", "containers": 0, "cast_on": "2026-03-01"}"#).check().is_err());
    /// ```
    pub fn check(&self) -> Result<(), Error> {
        let mut faults = Vec::new();
        let mut fault =
            |pointer: &str, detail: String| faults.push(FieldError::new(pointer, detail));
        match (self.containers, self.good_chips_wanted) {
            (None, None) | (Some(_), Some(_)) => fault(
                "/containers",
                "give either `containers` or `good_chips_wanted`".to_owned(),
            ),
            (Some(trays), None) if !(1..=TRAYS_MAX).contains(&trays) => {
                fault(
                    "/containers",
                    format!("{trays} is out of range: 1 to {TRAYS_MAX} trays"),
                );
            }
            (None, Some(chips)) if !(1..=CHIPS_MAX).contains(&chips) => {
                fault(
                    "/good_chips_wanted",
                    format!("{chips} is out of range: 1 to {CHIPS_MAX} chips"),
                );
            }
            _ => {}
        }
        for (pointer, count, what) in [
            ("/groups", self.groups, "groups"),
            ("/containers_per_batch", self.containers_per_batch, "trays"),
        ] {
            if let Some(count) = count.filter(|count| !(1..=TRAYS_MAX).contains(count)) {
                fault(
                    pointer,
                    format!("{count} is out of range: 1 to {TRAYS_MAX} {what}"),
                );
            }
        }
        if let Some(quantile) = self
            .residue_quantile
            .filter(|q| *q <= Micro::ZERO || *q >= Micro::from_int(1))
        {
            fault(
                "/residue_quantile",
                format!("{quantile} is out of range: above 0 and below 1"),
            );
        }
        if let Some(reason) = self
            .heat_override_reason
            .as_ref()
            .filter(|r| r.trim().is_empty() || r.chars().count() > 200)
        {
            fault(
                "/heat_override_reason",
                format!(
                    "a reason has 1 to 200 characters; this has {}",
                    reason.chars().count()
                ),
            );
        }
        faults.extend(check_charges(&self.charges));
        if faults.is_empty() {
            Ok(())
        } else {
            Err(Error::Invalid(faults))
        }
    }
}

/// What is wrong with a cast's charges: shares above 0 that add up to exactly 100, each grant once.
///
/// ```
/// use heeltap::casting::planning::request::{Charge, check_charges};
/// let charges: Vec<Charge> =
///     serde_json::from_str(r#"[{"grant": "a", "share": "60"}, {"grant": "b", "share": "39"}]"#).unwrap();
/// assert_eq!(check_charges(&charges)[0].detail, "the shares add up to 99, not to exactly 100");
/// ```
#[must_use]
pub fn check_charges(charges: &[Charge]) -> Vec<FieldError> {
    let mut faults = Vec::new();
    for (index, charge) in charges.iter().enumerate() {
        if charge.share <= Micro::ZERO {
            faults.push(FieldError::new(
                format!("/charges/{index}/share"),
                format!("{} is out of range: more than 0", charge.share),
            ));
        }
        if charges[..index]
            .iter()
            .any(|other| other.grant == charge.grant)
        {
            let detail = format!(
                "grant `{}` is named twice: give it one share",
                charge.grant.as_str()
            );
            faults.push(FieldError::new(format!("/charges/{index}/grant"), detail));
        }
    }
    let sum: i128 = charges
        .iter()
        .map(|charge| i128::from(charge.share.micro()))
        .sum();
    if !charges.is_empty() && sum != i128::from(HUNDRED_PER_CENT) {
        let shown = i64::try_from(sum)
            .map(|micro| Micro::from_micro(micro).to_string())
            .unwrap_or_else(|_| "far more".to_owned());
        faults.push(FieldError::new(
            "/charges",
            format!("the shares add up to {shown}, not to exactly 100"),
        ));
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(json: &str, expected: &[&str]) {
        let request: PlanRequest = serde_json::from_str(json).unwrap();
        let faults = match request.check() {
            Ok(()) => vec![],
            Err(Error::Invalid(faults)) => faults.into_iter().map(|f| f.pointer).collect(),
            Err(other) => panic!("{other}"),
        };
        assert_eq!(faults, expected);
    }

    #[test]
    fn requests() {
        check(
            r#"{"recipe": "R", "containers": 4, "cast_on": "2026-03-01"}"#,
            &[],
        );
        check(
            r#"{"recipe": "R", "cast_on": "2026-03-01"}"#,
            &["/containers"],
        );
        check(
            r#"{"recipe": "R", "containers": 4, "good_chips_wanted": 3, "cast_on": "2026-03-01"}"#,
            &["/containers"],
        );
        check(
            r#"{"recipe": "R", "containers": 0, "cast_on": "2026-03-01"}"#,
            &["/containers"],
        );
        check(
            r#"{"recipe": "R", "containers": 4, "cast_on": "2026-03-01", "residue_quantile": "1"}"#,
            &["/residue_quantile"],
        );
        let charged = |charges: &str| {
            format!(
                r#"{{"recipe": "R", "containers": 4, "cast_on": "2026-03-01", "charges": {charges}}}"#
            )
        };
        check(
            &charged(r#"[{"grant": "A", "share": "60"}, {"grant": "B", "share": "40"}]"#),
            &[],
        );
        check(
            &charged(r#"[{"grant": "A", "share": "60"}, {"grant": "B", "share": "39.999999"}]"#),
            &["/charges"],
        );
        check(
            &charged(r#"[{"grant": "A", "share": "60"}, {"grant": "A", "share": "40"}]"#),
            &["/charges/1/grant"],
        );
        check(
            &charged(r#"[{"grant": "A", "share": "110"}, {"grant": "B", "share": "-10"}]"#),
            &["/charges/1/share"],
        );
    }
}
