//! What is to do: open warnings, casts whose day has come, and packs to be counted, as sentences with a day in front, each leading
//! to where it is done.
//!
//! Invariant: the gravest first, then by day. Deliberately absent: what makes a warning, and when a count is due (the rooms below
//! decide).

use chrono::NaiveDate;

use crate::casting::life::booked::BookedCast;
use crate::pages::warnings::{due, is_grave, says, where_done};
use crate::pages::words::day;
use crate::stock::counts_due::CountDue;
use crate::stock::warnings::{Warning, WarningState};

/// The most packs to be counted that are named; more are counted together.
const COUNTS_MAX: usize = 5;

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Line {
    /// The day in words, such as `by Fri 4 Dec` or `today`.
    pub(super) day: String,
    /// What, in a sentence.
    pub(super) says: String,
    /// Whether it costs money or safety if ignored.
    pub(super) grave: bool,
    /// Where it is done: the address, and its words.
    pub(super) at: Option<(String, &'static str)>,
    order: (bool, NaiveDate),
}

/// The lines of a day.
pub(super) fn lines(
    warnings: &[Warning],
    casts: &[BookedCast],
    counts: &[CountDue],
    today: NaiveDate,
) -> Vec<Line> {
    let warned = warnings
        .iter()
        .filter(|warning| warning.state == WarningState::Open)
        .map(|warning| of_warning(warning, today));
    let due = casts
        .iter()
        .filter(|cast| cast.cast_on <= today)
        .map(|cast| of_cast(cast, today));
    let counted = counts
        .iter()
        .take(COUNTS_MAX)
        .map(|pack| of_count(pack, today));
    let mut lines: Vec<Line> = warned.chain(due).chain(counted).collect();
    lines.extend(more_counts(counts, today));
    lines.sort_by_key(|one| one.order);
    lines
}

fn of_warning(warning: &Warning, today: NaiveDate) -> Line {
    let grave = is_grave(warning);
    Line {
        day: due(warning, today),
        says: says(warning),
        grave,
        at: where_done(warning),
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
        at: Some((
            format!("/casts/{}/bench-sheet", cast.code),
            "Its bench sheet",
        )),
        order: (true, cast.cast_on),
    }
}

fn of_count(pack: &CountDue, today: NaiveDate) -> Line {
    let last = match pack.counted_on {
        Some(on) => format!("it was last counted {}", day(on, today)),
        None => "it was never counted".to_owned(),
    };
    Line {
        day: since(pack.due_on, today),
        says: format!(
            "Count pack {} of {}, lot {}: {last}, and drawn from {}.",
            pack.no,
            pack.material,
            pack.lot,
            day(pack.drawn_on, today)
        ),
        grave: false,
        at: Some((
            format!("/lots/{}?pack={}#pack", pack.lot_id, pack.pack_id),
            "Count it",
        )),
        order: (true, pack.due_on),
    }
}

/// The packs to be counted that are not named.
fn more_counts(counts: &[CountDue], today: NaiveDate) -> Option<Line> {
    let more = counts.get(COUNTS_MAX..).filter(|more| !more.is_empty())?;
    let first = more[0].due_on;
    let packs = match more.len() {
        1 => "1 more pack".to_owned(),
        count => format!("{count} more packs"),
    };
    Some(Line {
        day: since(first, today),
        says: format!("Count {packs}: they show here as the others are counted."),
        grave: false,
        at: None,
        order: (true, first),
    })
}

fn since(on: NaiveDate, today: NaiveDate) -> String {
    match on == today {
        true => "today".to_owned(),
        false => format!("since {}", day(on, today)),
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
        let found = lines(&warnings, &casts, &[], on("2026-11-27"));
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
        let at = |line: &Line| line.at.clone().expect("an address").0;
        assert_eq!(at(&found[3]), "/casts/C-00007/bench-sheet");
        assert_eq!(at(&found[0]), "/buy");
    }

    #[test]
    fn packs_to_be_counted_are_named_up_to_a_handful() {
        let pack = |pack_id: i64| CountDue {
            pack_id,
            no: 2,
            lot_id: 7,
            lot: "B1".into(),
            material: "Base".into(),
            counted_on: (pack_id > 1).then(|| on("2026-10-01")),
            drawn_on: on("2026-11-02"),
            due_on: on("2026-10-31"),
        };
        let packs: Vec<CountDue> = (1..=7).map(pack).collect();
        let found = lines(&[], &[], &packs, on("2026-11-27"));
        assert_eq!(found.len(), 6);
        assert_eq!(
            found[0].says,
            "Count pack 2 of Base, lot B1: it was never counted, and drawn from Mon 2 Nov."
        );
        assert_eq!(found[0].day, "since Sat 31 Oct");
        let at = found[0].at.clone().expect("an address");
        assert_eq!(at.0, "/lots/7?pack=1#pack");
        assert!(found[1].says.contains("it was last counted Thu 1 Oct"));
        assert!(found[5].says.starts_with("Count 2 more packs"));
    }
}
