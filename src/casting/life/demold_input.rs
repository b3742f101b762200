//! What is told at the demould, added up and held against what was cast. Pure.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{Error, FieldError, Micro};

/// A demould: chips counted for the whole cast, or tray by tray.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DemoldIn {
    /// The day.
    pub demolded_on: NaiveDate,
    /// Good chips; or count tray by tray.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub good: Option<u32>,
    /// Rejected chips by reason.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rejects: Vec<Reject>,
    /// The count tray by tray.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub containers: Option<Vec<TrayCount>>,
    /// How thick the chips came out over the mould, in mm: it teaches the fill as a level at the pour does.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chip_thickness_mm: Option<Micro>,
}

/// Chips rejected for one reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reject {
    /// Why: bubbles, torn, tacky, …; 1 to 100 characters.
    #[schema(
        min_length = 1,
        max_length = 100,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub reason: String,
    /// How many.
    pub count: u32,
}

/// The chips of one tray.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TrayCount {
    /// Good chips.
    pub good: u32,
    /// Rejected chips by reason.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rejects: Vec<Reject>,
}

/// A demould as it is kept and shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DemoldRecord {
    /// Good chips.
    pub good: i64,
    /// Rejected chips.
    pub rejected: i64,
    /// Rejected chips by reason, over all trays.
    pub rejects: Vec<Reject>,
    /// The count tray by tray, if there was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub containers: Option<Vec<TrayCount>>,
    /// How thick the chips came out, in mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chip_thickness_mm: Option<Micro>,
    /// The fill factor that the thickness taught.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fill_factor_taught: Option<Micro>,
    /// Why the thickness taught nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_note: Option<String>,
}

/// Adds up a count and holds it against what was cast. Pure.
///
/// # Errors
/// [`Error::Invalid`] with every fault: neither or both ways of counting, a reason without words, more chips than were cast.
///
/// ```
/// use heeltap::casting::life::demold_input::{DemoldIn, count};
/// let told = |body: &str| serde_json::from_str::<DemoldIn>(body).unwrap();
/// let found = count(&told(r#"{"demolded_on": "2026-03-03", "good": 7, "rejects": [{"reason": "bubbles", "count": 1}]}"#), 2, 4)?;
/// assert_eq!((found.good, found.rejected), (7, 1));
/// assert!(count(&told(r#"{"demolded_on": "2026-03-03", "good": 9}"#), 2, 4).is_err());
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn count(input: &DemoldIn, trays: u32, chips_per_tray: u32) -> Result<DemoldRecord, Error> {
    let mut faults = Vec::new();
    let whole = match (&input.good, &input.containers) {
        (Some(good), None) => {
            check_tray(
                "",
                *good,
                &input.rejects,
                trays.saturating_mul(chips_per_tray),
                &mut faults,
            );
            vec![TrayCount {
                good: *good,
                rejects: input.rejects.clone(),
            }]
        }
        (None, Some(counts)) if input.rejects.is_empty() => {
            if counts.len() > trays as usize {
                faults.push(FieldError::new(
                    "/containers",
                    format!(
                        "{} trays are counted, but {trays} were poured",
                        counts.len()
                    ),
                ));
            }
            for (index, count) in counts.iter().enumerate() {
                check_tray(
                    &format!("/containers/{index}"),
                    count.good,
                    &count.rejects,
                    chips_per_tray,
                    &mut faults,
                );
            }
            counts.clone()
        }
        _ => {
            faults.push(FieldError::new(
                "/good",
                "give either `good` and `rejects`, or `containers`",
            ));
            Vec::new()
        }
    };
    if !faults.is_empty() {
        return Err(Error::Invalid(faults));
    }
    let mut rejects: Vec<Reject> = Vec::new();
    for reject in whole.iter().flat_map(|tray| &tray.rejects) {
        match rejects
            .iter_mut()
            .find(|other| other.reason == reject.reason.trim())
        {
            Some(other) => other.count = other.count.saturating_add(reject.count),
            None => rejects.push(Reject {
                reason: reject.reason.trim().to_owned(),
                count: reject.count,
            }),
        }
    }
    Ok(DemoldRecord {
        good: whole.iter().map(|tray| i64::from(tray.good)).sum(),
        rejected: rejects.iter().map(|reject| i64::from(reject.count)).sum(),
        rejects,
        containers: input.containers.clone(),
        chip_thickness_mm: input.chip_thickness_mm,
        fill_factor_taught: None,
        level_note: None,
    })
}

fn check_tray(at: &str, good: u32, rejects: &[Reject], most: u32, faults: &mut Vec<FieldError>) {
    let rejected: u64 = rejects.iter().map(|reject| u64::from(reject.count)).sum();
    let counted = u64::from(good) + rejected;
    if counted > u64::from(most) {
        let detail = format!(
            "{good} good and {rejected} rejected make {counted} chips, but only {most} were cast"
        );
        faults.push(FieldError::new(format!("{at}/good"), detail));
    }
    for (index, reject) in rejects.iter().enumerate() {
        let length = reject.reason.trim().chars().count();
        if length == 0 || length > 100 {
            faults.push(FieldError::new(
                format!("{at}/rejects/{index}/reason"),
                format!("a reason has 1 to 100 characters; this has {length}"),
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(json: &str, expected: Result<(i64, i64), &str>) {
        let input: DemoldIn = serde_json::from_str(json).unwrap();
        let found = match count(&input, 2, 3) {
            Ok(record) => Ok((record.good, record.rejected)),
            Err(Error::Invalid(faults)) => Err(faults[0].pointer.clone()),
            Err(other) => panic!("{other}"),
        };
        assert_eq!(found, expected.map_err(str::to_owned));
    }

    #[test]
    fn counts() {
        check(
            r#"{"demolded_on": "2026-01-01", "good": 5, "rejects": [{"reason": "bubbles", "count": 1}]}"#,
            Ok((5, 1)),
        );
        check(
            r#"{"demolded_on": "2026-01-01", "good": 6, "rejects": [{"reason": "bubbles", "count": 1}]}"#,
            Err("/good"),
        );
        check(r#"{"demolded_on": "2026-01-01"}"#, Err("/good"));
        check(
            r#"{"demolded_on": "2026-01-01", "good": 1, "rejects": [{"reason": " ", "count": 1}]}"#,
            Err("/rejects/0/reason"),
        );
        let trays =
            |counts: &str| format!(r#"{{"demolded_on": "2026-01-01", "containers": {counts}}}"#);
        check(
            &trays(r#"[{"good": 3}, {"good": 1, "rejects": [{"reason": "torn", "count": 2}]}]"#),
            Ok((4, 2)),
        );
        check(&trays(r#"[{"good": 4}]"#), Err("/containers/0/good"));
        check(
            &trays(r#"[{"good": 1}, {"good": 1}, {"good": 1}]"#),
            Err("/containers"),
        );
    }
}
