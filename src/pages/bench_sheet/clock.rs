//! The clock of the bench: when a batch was mixed, and what runs since.
//!
//! Invariants: a time without a day is one of the day of the cast, where the lab is; what runs is written as a time, and a script
//! adds what is left of it. Deliberately absent: how long anything takes (the sheet says).

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

use super::asked::Asked;

/// The instants at which the mixing of batches ended, with the batches from 1; what is no time is marked.
pub(super) fn mixings(
    asked: &mut Asked,
    batches: usize,
    on: NaiveDate,
    zone: Tz,
) -> Vec<(i32, DateTime<Utc>)> {
    let mut found = Vec::new();
    for (place, batch) in (0..batches).zip(1..) {
        if !asked.is_given("mixed_at", place) {
            continue;
        }
        match mixing(asked.typed("mixed_at", place), on, zone) {
            Ok(at) => found.push((batch, at)),
            Err(fault) => {
                asked.fault("mixed_at", place, fault);
            }
        }
    }
    found
}

fn mixing(typed: &str, on: NaiveDate, zone: Tz) -> Result<DateTime<Utc>, String> {
    let time = NaiveTime::parse_from_str(typed, "%H:%M").map(|time| on.and_time(time));
    let at = time.or_else(|_| NaiveDateTime::parse_from_str(typed, "%Y-%m-%dT%H:%M"));
    let at = at
        .ok()
        .filter(|at| (1970..=9999).contains(&at.year()))
        .ok_or_else(|| {
            format!("`{typed}` is no time: send hours and minutes, such as 14:05, after a day and a `T` if it was another day")
        })?;
    let known = zone.from_local_datetime(&at).earliest();
    known
        .map(|at| at.with_timezone(&Utc))
        .ok_or_else(|| format!("`{typed}` is not on the clock that day: it is set forward then"))
}

/// An instant as it is typed: a time of the day of the cast, or with its own day.
pub(super) fn typed(at: DateTime<Utc>, on: NaiveDate, zone: Tz) -> String {
    let local = at.with_timezone(&zone);
    let form = match local.date_naive() == on {
        true => "%H:%M",
        false => "%Y-%m-%dT%H:%M",
    };
    local.format(form).to_string()
}

/// Something that ends at an instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Until {
    /// The instant, for the script that counts.
    pub(super) at: String,
    /// Whether it is gone.
    pub(super) over: bool,
}

/// What is left until an instant.
pub(super) fn until(at: DateTime<Utc>, now: DateTime<Utc>) -> Until {
    Until {
        at: at.to_rfc3339(),
        over: at < now,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ZONE: Tz = chrono_tz::Europe::Berlin;

    fn on(day: &str) -> NaiveDate {
        day.parse().unwrap()
    }

    #[test]
    fn a_time_is_one_of_the_day_of_the_cast_where_the_lab_is() {
        let mut asked = Asked::read("mixed_at=&mixed_at=14:05&mixed_at=2026-07-03T09:00");
        let found = mixings(&mut asked, 3, on("2026-07-01"), ZONE);
        let words: Vec<(i32, String)> = found
            .iter()
            .map(|(batch, at)| (*batch, at.to_rfc3339()))
            .collect();
        assert_eq!(
            words,
            [
                (2, "2026-07-01T12:05:00+00:00".to_owned()),
                (3, "2026-07-03T07:00:00+00:00".to_owned())
            ]
        );
        // They are typed as they were read.
        assert_eq!(typed(found[0].1, on("2026-07-01"), ZONE), "14:05");
        assert_eq!(
            typed(found[1].1, on("2026-07-01"), ZONE),
            "2026-07-03T09:00"
        );
        // What belongs to no batch is not read.
        assert!(mixings(&mut asked, 1, on("2026-07-01"), ZONE).is_empty());
    }

    #[test]
    fn what_is_no_time_is_marked() {
        let fault = |typed: &str, day: &str| {
            let mut asked = Asked::default();
            asked.set("mixed_at", 0, typed.to_owned());
            assert!(mixings(&mut asked, 1, on(day), ZONE).is_empty(), "{typed}");
            asked.field("mixed_at", 0).fault.unwrap()
        };
        assert!(
            fault("2pm", "2026-07-01")
                .starts_with("`2pm` is no time: send hours and minutes, such as 14:05")
        );
        assert!(fault("+99999-01-01T00:00", "2026-07-01").contains("is no time"));
        // The clock is set forward from 2 to 3 on that day.
        assert!(fault("02:30", "2026-03-29").contains("is not on the clock that day"));
    }
}
