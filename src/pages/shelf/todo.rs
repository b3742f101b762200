//! What is to do: open warnings and casts whose day has come, as sentences with a day in front.
//!
//! Invariant: the gravest first, then by day. Deliberately absent: what makes a warning (the rooms below decide).

use chrono::NaiveDate;

use crate::casting::life::booked::BookedCast;
use crate::pages::words::day;
use crate::stock::warnings::{Warning, WarningState};

/// From this severity on, a line is marked as grave.
const GRAVE: i32 = 3;

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Line {
    /// The day in words, such as `by Fri 4 Dec` or `today`.
    pub(super) day: String,
    /// What, in a sentence.
    pub(super) says: String,
    /// Whether it costs money or safety if ignored.
    pub(super) grave: bool,
    order: (bool, NaiveDate),
}

/// The lines of a day.
pub(super) fn lines(warnings: &[Warning], casts: &[BookedCast], today: NaiveDate) -> Vec<Line> {
    let warned = warnings
        .iter()
        .filter(|warning| warning.state == WarningState::Open)
        .map(|warning| of_warning(warning, today));
    let due = casts
        .iter()
        .filter(|cast| cast.cast_on <= today)
        .map(|cast| of_cast(cast, today));
    let mut lines: Vec<Line> = warned.chain(due).collect();
    lines.sort_by_key(|one| one.order);
    lines
}

fn of_warning(warning: &Warning, today: NaiveDate) -> Line {
    let grave = warning.severity >= GRAVE;
    let words = match warning.due_on {
        None => "now".to_owned(),
        Some(on) if on == today => "today".to_owned(),
        Some(on) if on < today => format!("since {}", day(on, today)),
        Some(on) => format!("by {}", day(on, today)),
    };
    Line {
        day: words,
        says: match warning.kind.as_str() {
            "order_by" => format!("{}: {}", warning.subject, warning.reason),
            _ => warning.reason.clone(),
        },
        grave,
        order: (!grave, warning.due_on.unwrap_or(today)),
    }
}

fn of_cast(cast: &BookedCast, today: NaiveDate) -> Line {
    let late = cast.cast_on < today;
    let trays = match cast.containers {
        1 => "1 tray".to_owned(),
        count => format!("{count} trays"),
    };
    let says = match late {
        true => format!(
            "Pour {}, {trays} of {}, or cancel it: it was booked for {}.",
            cast.code,
            cast.recipe_name,
            day(cast.cast_on, today)
        ),
        false => format!("Pour {}, {trays} of {}.", cast.code, cast.recipe_name),
    };
    Line {
        day: match late {
            true => format!("since {}", day(cast.cast_on, today)),
            false => "today".to_owned(),
        },
        says,
        grave: false,
        order: (true, cast.cast_on),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn on(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn warning(severity: i32, due_on: Option<&str>, state: WarningState) -> Warning {
        Warning {
            id: 1,
            kind: "order_by".into(),
            subject_noun: "kit".into(),
            subject: "kit".into(),
            severity,
            due_on: due_on.map(on),
            reason: "It runs out.".into(),
            state,
            opened_at: chrono::DateTime::UNIX_EPOCH,
            acknowledged_at: None,
            acknowledged_by: None,
            note: None,
            cleared_at: None,
        }
    }

    fn cast(cast_on: &str) -> BookedCast {
        BookedCast {
            code: "C-00007".into(),
            cast_on: on(cast_on),
            recipe: "chip".into(),
            recipe_name: "Chip".into(),
            containers: 2,
            short: false,
            booked_by: "bench".into(),
            version: 1,
        }
    }

    #[test]
    fn the_gravest_come_first_then_by_day_and_what_is_seen_to_is_left_out() {
        let open = WarningState::Open;
        let warnings = [
            warning(2, Some("2026-12-04"), open),
            warning(3, Some("2026-12-09"), open),
            warning(2, Some("2026-11-20"), open),
            warning(2, None, WarningState::Acknowledged),
        ];
        let casts = [cast("2026-11-27"), cast("2026-11-25"), cast("2026-11-28")];
        let found = lines(&warnings, &casts, on("2026-11-27"));
        let days: Vec<(&str, bool)> = found
            .iter()
            .map(|line| (line.day.as_str(), line.grave))
            .collect();
        assert_eq!(
            days,
            [
                ("by Wed 9 Dec", true),
                ("since Fri 20 Nov", false),
                ("since Wed 25 Nov", false),
                ("today", false),
                ("by Fri 4 Dec", false),
            ]
        );
        assert_eq!(found[0].says, "kit: It runs out.");
        assert_eq!(found[3].says, "Pour C-00007, 2 trays of Chip.");
    }
}
