//! Back-dating: what a pack held at the end of any day, and whether an issue on an earlier day leaves every later day at 0 or above.

use chrono::NaiveDate;

/// A pack's changes by day, in the order of the days, in millionths.
pub type DailyChanges = [(NaiveDate, i64)];

/// What the pack held at the end of `day`.
///
/// ```
/// use heeltap::stock::backdate::balance_on;
/// let day = |text: &str| text.parse().unwrap();
/// let changes = [(day("2026-01-01"), 10), (day("2026-01-05"), -4)];
/// assert_eq!(balance_on(&changes, day("2026-01-04")), 10);
/// assert_eq!(balance_on(&changes, day("2026-01-05")), 6);
/// ```
#[must_use]
pub fn balance_on(changes: &DailyChanges, day: NaiveDate) -> i64 {
    changes
        .iter()
        .filter(|(on, _)| *on <= day)
        .map(|(_, change)| change)
        .sum()
}

/// The most that can be taken on `day` without a later day's end falling below 0.
///
/// ```
/// use heeltap::stock::backdate::most_on;
/// let day = |text: &str| text.parse().unwrap();
/// let changes = [(day("2026-01-01"), 10), (day("2026-01-05"), -4), (day("2026-01-09"), 20)];
/// assert_eq!(most_on(&changes, day("2026-01-02")), 6);
/// assert_eq!(most_on(&changes, day("2026-01-09")), 26);
/// ```
#[must_use]
pub fn most_on(changes: &DailyChanges, day: NaiveDate) -> i64 {
    let mut least = balance_on(changes, day);
    for (later, _) in changes.iter().filter(|(on, _)| *on > day) {
        least = least.min(balance_on(changes, *later));
    }
    least
}

#[cfg(test)]
mod tests {
    use super::super::shelf::tests::day;
    use super::*;

    #[track_caller]
    fn check(changes: &[(&str, i64)], on: &str, expected: i64) {
        let changes: Vec<(NaiveDate, i64)> = changes
            .iter()
            .map(|(on, change)| (day(on), *change))
            .collect();
        assert_eq!(most_on(&changes, day(on)), expected);
    }

    #[test]
    fn no_later_day_falls_below_nothing() {
        check(&[], "2026-01-01", 0);
        check(&[("2026-01-02", 5)], "2026-01-01", 0);
        check(&[("2026-01-01", 5)], "2026-01-01", 5);
        check(
            &[("2026-01-01", 5), ("2026-01-03", -5), ("2026-01-04", 9)],
            "2026-01-02",
            0,
        );
    }
}
