//! The rows of the list of casts.
//!
//! Invariant: within each part casts stand by their day; what is late says so in words. Deliberately absent: figures of its own.

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::casting::life::booked::BookedCast;
use crate::casting::life::view::CastView;
use crate::pages::words::{counted, day, money};

/// A cast to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ToCome {
    /// The cast's code.
    pub(super) code: String,
    /// The day in words.
    pub(super) day: String,
    /// The recipe's name.
    pub(super) recipe: String,
    /// How many trays, in words.
    pub(super) trays: String,
    /// Who booked it.
    pub(super) by: String,
    /// Whether it holds less than it needs.
    pub(super) short: bool,
    /// Whether its day is gone.
    pub(super) late: bool,
}

/// A cast that is poured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Waiting {
    /// The cast's code.
    pub(super) code: String,
    /// The day of the pour, in words.
    pub(super) poured: String,
    /// The recipe's name.
    pub(super) recipe: String,
    /// How many trays were poured, in words.
    pub(super) trays: String,
    /// Who poured.
    pub(super) by: String,
}

/// A cast that is demoulded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Done {
    /// The cast's code.
    pub(super) code: String,
    /// The day of the demould, in words.
    pub(super) day: String,
    /// The recipe's name.
    pub(super) recipe: String,
    /// Good chips of those cast, such as `14 of 16`.
    pub(super) good: String,
    /// What a good chip cost; none when none is good.
    pub(super) each: Option<String>,
}

/// The casts to come, by day.
pub(super) fn to_come(casts: Vec<BookedCast>, today: NaiveDate) -> Vec<ToCome> {
    let row = |cast: BookedCast| ToCome {
        day: match cast.cast_on == today {
            true => "today".to_owned(),
            false => day(cast.cast_on, today),
        },
        trays: counted(cast.containers, "tray", "trays"),
        late: cast.cast_on < today,
        short: cast.short,
        by: cast.booked_by,
        recipe: cast.recipe_name,
        code: cast.code,
    };
    casts.into_iter().map(row).collect()
}

fn named(cast: &CastView, recipes: &HashMap<String, String>) -> String {
    let name = recipes.get(&cast.recipe);
    name.unwrap_or(&cast.recipe).clone()
}

/// The casts that wait to be demoulded, by the day of the pour.
pub(super) fn waiting(
    mut casts: Vec<CastView>,
    recipes: &HashMap<String, String>,
    today: NaiveDate,
) -> Vec<Waiting> {
    casts.sort_by_key(|cast| cast.poured_on);
    let row = |cast: CastView| Waiting {
        recipe: named(&cast, recipes),
        poured: cast.poured_on.map_or_else(String::new, |on| day(on, today)),
        trays: cast.pour.map_or_else(String::new, |pour| {
            counted(pour.containers_poured, "tray", "trays")
        }),
        by: cast.poured_by.unwrap_or_default(),
        code: cast.code,
    };
    casts.into_iter().map(row).collect()
}

/// The casts that are demoulded, as they came.
pub(super) fn done(
    casts: Vec<CastView>,
    recipes: &HashMap<String, String>,
    today: NaiveDate,
) -> Vec<Done> {
    let row = |cast: CastView| {
        let (good, rejected) = cast
            .demold
            .as_ref()
            .map_or((0, 0), |record| (record.good, record.rejected));
        let cost = cast.cost_actual.as_ref();
        Done {
            recipe: named(&cast, recipes),
            day: cast
                .demolded_on
                .map_or_else(String::new, |on| day(on, today)),
            good: format!("{good} of {}", good + rejected),
            each: cost.and_then(|cost| Some(money(cost.per_good_chip?, &cost.currency))),
            code: cast.code,
        }
    };
    casts.into_iter().map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn booked(cast_on: &str, containers: i32) -> BookedCast {
        BookedCast {
            code: "C-00001".into(),
            cast_on: cast_on.parse().unwrap(),
            recipe: "chip".into(),
            recipe_name: "Chip".into(),
            containers,
            short: false,
            booked_by: "bench".into(),
            version: 1,
        }
    }

    /// Expected: the day in words, the trays, and whether it is late, on 2 March 2026.
    #[track_caller]
    fn check(cast: BookedCast, expected: (&str, &str, bool)) {
        let rows = to_come(vec![cast], "2026-03-02".parse().unwrap());
        let row = &rows[0];
        assert_eq!((row.day.as_str(), row.trays.as_str(), row.late), expected);
    }

    #[test]
    fn a_cast_to_come_says_its_day_and_whether_it_is_gone() {
        check(booked("2026-03-02", 1), ("today", "1 tray", false));
        check(booked("2026-03-01", 2), ("Sun 1 Mar", "2 trays", true));
        check(
            booked("2027-01-04", 6),
            ("Mon 4 Jan 2027", "6 trays", false),
        );
    }
}
