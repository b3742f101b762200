//! The chips that were counted, as the sheet's form tells them and as the API would have been told.
//!
//! Invariants: a reason without a count is not sent on; trays after the last that was counted are not; a fault stands at the row
//! that was typed. Deliberately absent: what is right (the operation knows).

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use super::asked::Asked;
use super::pour_form::whole;
use crate::base::FieldError;

/// The reasons that stand in the form from the start; others are typed over them or beside them.
pub(super) const REASONS: [&str; 5] = ["bubbles", "torn", "tacky", "", ""];

/// The reason in a row: as it was typed, or as it stood there.
pub(super) fn reason(asked: &Asked, row: usize) -> &str {
    match asked.places("reject_reason") {
        0 => REASONS.get(row).copied().unwrap_or(""),
        _ => asked.typed("reject_reason", row),
    }
}

/// The rows with a count.
fn rows(asked: &Asked) -> Vec<usize> {
    let all = 0..asked.places("reject_count");
    all.filter(|row| asked.is_given("reject_count", *row))
        .collect()
}

/// The body that the API would have been sent.
pub(super) fn document(asked: &Asked, today: NaiveDate) -> Value {
    let mut document = Map::new();
    let on = match asked.typed("demolded_on", 0) {
        "" => today.to_string(),
        typed => typed.to_owned(),
    };
    document.insert("demolded_on".to_owned(), Value::from(on));
    if asked.is_given("good", 0) {
        document.insert("good".to_owned(), whole(asked.typed("good", 0)));
    }
    let rejects: Vec<Value> = rows(asked)
        .into_iter()
        .map(|row| json!({"reason": reason(asked, row), "count": whole(asked.typed("reject_count", row))}))
        .collect();
    if !rejects.is_empty() {
        document.insert("rejects".to_owned(), Value::Array(rejects));
    }
    let trays = trays(asked);
    if !trays.is_empty() {
        document.insert("containers".to_owned(), Value::Array(trays));
    }
    if asked.is_given("chip_thickness_mm", 0) {
        let thick = Value::from(asked.typed("chip_thickness_mm", 0));
        document.insert("chip_thickness_mm".to_owned(), thick);
    }
    Value::Object(document)
}

/// The trays that were counted each for itself.
fn trays(asked: &Asked) -> Vec<Value> {
    let told =
        |tray: &usize| asked.is_given("tray_good", *tray) || asked.is_given("tray_count", *tray);
    let most = asked.places("tray_good").max(asked.places("tray_count"));
    let last = (0..most).rev().find(told);
    (0..last.map_or(0, |last| last + 1))
        .map(|tray| {
            let mut counted = Map::new();
            if asked.is_given("tray_good", tray) {
                counted.insert("good".to_owned(), whole(asked.typed("tray_good", tray)));
            }
            if asked.is_given("tray_count", tray) {
                let reject = json!({"reason": asked.typed("tray_reason", tray), "count": whole(asked.typed("tray_count", tray))});
                counted.insert("rejects".to_owned(), json!([reject]));
            }
            Value::Object(counted)
        })
        .collect()
}

/// Puts faults at their fields; returns what belongs to none.
pub(super) fn place(asked: &mut Asked, errors: &[FieldError]) -> Vec<String> {
    let rows = rows(asked);
    let mut whole = Vec::new();
    for error in errors {
        let path: Vec<&str> = error.pointer.trim_start_matches('/').split('/').collect();
        let found = match path[..] {
            ["rejects", index, name] => {
                let row = index.parse().ok().and_then(|at: usize| rows.get(at));
                row.map(|row| (of_reject(name), *row))
            }
            ["containers", tray, "good"] => tray.parse().ok().map(|tray| ("tray_good", tray)),
            ["containers", tray, "rejects", "0", name] => {
                let name = match name {
                    "reason" => "tray_reason",
                    _ => "tray_count",
                };
                tray.parse().ok().map(|tray| (name, tray))
            }
            [name] => Some((name, 0)),
            _ => None,
        };
        let placed =
            found.is_some_and(|(name, place)| asked.fault(name, place, error.detail.as_str()));
        if !placed {
            whole.push(error.detail.clone());
        }
    }
    whole
}

fn of_reject(name: &str) -> &'static str {
    match name {
        "reason" => "reject_reason",
        _ => "reject_count",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(query: &str) -> Value {
        document(&Asked::read(query), "2026-03-04".parse().unwrap())
    }

    #[test]
    fn reasons_are_told_with_their_counts() {
        assert_eq!(
            of("good=6&reject_count=&reject_count=2&chip_thickness_mm=4.1"),
            json!({"demolded_on": "2026-03-04", "good": 6, "rejects": [{"reason": "torn", "count": 2}],
                "chip_thickness_mm": "4.1"})
        );
        let told =
            of("good=6&reject_reason=cloudy&reject_count=1&reject_reason=torn&reject_count=");
        assert_eq!(told["rejects"], json!([{"reason": "cloudy", "count": 1}]));
        assert_eq!(
            of("demolded_on=2026-03-03"),
            json!({"demolded_on": "2026-03-03"})
        );
    }

    #[test]
    fn trays_are_told_in_their_order() {
        let told = of(
            "tray_good=4&tray_good=&tray_good=3&tray_count=&tray_count=&tray_count=1&tray_reason=&tray_reason=&tray_reason=torn&tray_good=",
        );
        assert_eq!(
            told["containers"],
            json!([{"good": 4}, {}, {"good": 3, "rejects": [{"reason": "torn", "count": 1}]}])
        );
    }

    #[test]
    fn a_fault_stands_at_the_row_that_was_typed() {
        let mut asked =
            Asked::read("good=6&reject_count=&reject_count=&reject_count=&reject_count=2");
        let errors = [
            FieldError::new("/rejects/0/reason", "a reason has 1 to 100 characters"),
            FieldError::new("/containers/1/good", "too many"),
            FieldError::new("/containers/1/rejects/0/count", "no number"),
            FieldError::new("/containers", "too many trays"),
        ];
        assert_eq!(place(&mut asked, &errors), ["too many trays"]);
        let fault = |name, place| asked.field(name, place).fault.is_some();
        assert!(fault("reject_reason", 3) && !fault("reject_reason", 0));
        assert!(fault("tray_good", 1) && fault("tray_count", 1));
        // The reasons that stood there from the start stay as long as none was sent.
        assert_eq!(reason(&Asked::default(), 1), "torn");
    }
}
