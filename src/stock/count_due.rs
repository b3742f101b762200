//! When a pack should be counted again. Pure.
//!
//! Invariant: a pack from which nothing was drawn since it was counted or opened is not asked for. Deliberately absent: any
//! consequence (a count that is due is shown, and nothing waits for it).

use chrono::{Days, NaiveDate};

/// How long what was drawn from a pack goes uncounted before a count is due, in days (*assumption*: monthly, as shelves are
/// commonly counted).
pub const COUNT_AFTER_DAYS: u64 = 30;

/// What is known of a pack that is in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InUse {
    /// When it was opened.
    pub opened_on: Option<NaiveDate>,
    /// When it was last counted.
    pub counted_on: Option<NaiveDate>,
    /// When something was last drawn from it.
    pub drawn_on: Option<NaiveDate>,
}

impl InUse {
    /// The day from which a count is due; none while nothing was drawn since the last count, or since it was opened.
    ///
    /// ```
    /// use heeltap::stock::count_due::InUse;
    /// let day = |text: &str| text.parse().ok();
    /// let pack = InUse { opened_on: day("2026-01-05"), counted_on: None, drawn_on: day("2026-01-07") };
    /// assert_eq!(pack.due_on(), day("2026-02-04"));
    /// let counted = InUse { counted_on: day("2026-01-20"), ..pack };
    /// assert_eq!(counted.due_on(), None);
    /// ```
    #[must_use]
    pub fn due_on(&self) -> Option<NaiveDate> {
        let drawn = self.drawn_on?;
        let since = match self.counted_on {
            Some(counted) => Some(counted).filter(|counted| drawn > *counted),
            None => self.opened_on.filter(|opened| drawn >= *opened),
        };
        since?.checked_add_days(Days::new(COUNT_AFTER_DAYS))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(days: [Option<&str>; 3], expected: Option<&str>) {
        let [opened_on, counted_on, drawn_on] =
            days.map(|day| day.map(|day| day.parse().expect("a day")));
        let pack = InUse {
            opened_on,
            counted_on,
            drawn_on,
        };
        let expected = expected.map(|day| day.parse().expect("a day"));
        assert_eq!(pack.due_on(), expected);
    }

    #[test]
    fn a_count_is_due_a_month_after_the_last_or_the_opening_when_something_was_drawn_since() {
        let opened = Some("2026-01-05");
        check([opened, None, None], None);
        check([opened, None, opened], Some("2026-02-04"));
        check([None, None, opened], None);
        check([opened, Some("2026-01-10"), Some("2026-01-10")], None);
        check(
            [opened, Some("2026-01-10"), Some("2026-01-11")],
            Some("2026-02-09"),
        );
        check(
            [None, Some("2026-01-10"), Some("2026-01-11")],
            Some("2026-02-09"),
        );
    }
}
