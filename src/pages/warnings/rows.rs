//! The warnings as they are shown: a day, a sentence, and who sees to it.

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::told::{due, is_grave, says, where_done};
use crate::base::local_date;
use crate::pages::words::day;
use crate::stock::warnings::Warning;

/// A warning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// Its id.
    pub(super) id: i64,
    /// The day in words.
    pub(super) day: String,
    /// What it is about.
    pub(super) subject: String,
    /// Why, in a sentence.
    pub(super) says: String,
    /// Where it is seen to: the address, and its words.
    pub(super) at: Option<(String, &'static str)>,
    /// Whether it costs money or safety if ignored.
    pub(super) grave: bool,
    /// Who saw to it and when, in words; none when nobody did.
    pub(super) seen: Option<String>,
    /// What they wrote, or what was typed just now.
    pub(super) note: String,
    /// What is wrong with what was typed.
    pub(super) fault: Option<String>,
}

/// A note that was refused.
pub(super) struct Failed {
    /// The warning's id.
    pub(super) id: i64,
    /// What was typed.
    pub(super) note: String,
    /// What is wrong with it.
    pub(super) detail: String,
}

/// The warnings as rows: those that nobody has seen to first, then the gravest, then by their day.
pub(super) fn rows(
    mut warnings: Vec<Warning>,
    failed: Option<Failed>,
    (today, zone): (NaiveDate, Tz),
) -> Vec<Row> {
    warnings.sort_by_key(|warning| {
        (
            warning.acknowledged_at.is_some(),
            -warning.severity,
            warning.due_on.unwrap_or(today),
            warning.id,
        )
    });
    let row = |warning: Warning| {
        let failed = failed.as_ref().filter(|failed| failed.id == warning.id);
        let seen = warning.acknowledged_at.map(|at| {
            let on = day(local_date(at, zone), today);
            match &warning.acknowledged_by {
                Some(by) => format!("{by} sees to it since {on}"),
                None => format!("seen to since {on}"),
            }
        });
        Row {
            id: warning.id,
            day: due(&warning, today),
            says: says(&warning),
            at: where_done(&warning),
            grave: is_grave(&warning),
            subject: warning.subject,
            seen,
            note: match failed {
                Some(failed) => failed.note.clone(),
                None => warning.note.unwrap_or_default(),
            },
            fault: failed.map(|failed| failed.detail.clone()),
        }
    };
    warnings.into_iter().map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::warnings::WarningState;

    fn warning(id: i64, severity: i32, due_on: &str, seen: bool) -> Warning {
        Warning {
            id,
            kind: "order_by".into(),
            subject_noun: "kit".into(),
            subject: "kit".into(),
            severity,
            due_on: due_on.parse().ok(),
            reason: "It runs out.".into(),
            state: WarningState::Open,
            opened_at: chrono::DateTime::UNIX_EPOCH,
            acknowledged_at: seen.then(|| "2026-03-01T23:30:00Z".parse().unwrap()),
            acknowledged_by: seen.then(|| "buyer".to_owned()),
            note: seen.then(|| "asked".to_owned()),
            cleared_at: None,
        }
    }

    #[test]
    fn what_nobody_sees_to_comes_first_and_the_gravest_of_it() {
        let warnings = vec![
            warning(1, 3, "2026-03-01", true),
            warning(2, 1, "2026-03-03", false),
            warning(3, 3, "2026-03-09", false),
            warning(4, 1, "2026-03-02", false),
        ];
        let today = "2026-03-02".parse().unwrap();
        let failed = Failed {
            id: 4,
            note: "typed".into(),
            detail: "too long".into(),
        };
        let zone = chrono_tz::Europe::Berlin;
        let found = rows(warnings, Some(failed), (today, zone));
        let ids: Vec<i64> = found.iter().map(|row| row.id).collect();
        assert_eq!(ids, [3, 4, 2, 1]);
        assert_eq!(found[1].note, "typed");
        assert_eq!(found[1].fault.as_deref(), Some("too long"));
        // Half past eleven at night in UTC is the next day in the lab.
        let seen = found[3].seen.as_deref();
        assert_eq!(seen, Some("buyer sees to it since Mon 2 Mar"));
    }
}
