//! From minutes on the sheet to the clock on the wall.

use chrono::{DateTime, TimeDelta, Utc};

/// When the mixing of a batch ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixing {
    /// The batch, from 1.
    pub batch: i32,
    /// The instant.
    pub at: DateTime<Utc>,
    /// Where the end of its mixing stands on the sheet, in minutes from the start.
    pub minute: f64,
}

/// What is known of when the work is done.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Anchors {
    /// When the work begins.
    pub start_at: Option<DateTime<Utc>>,
    /// When batches were mixed.
    pub mixed: Vec<Mixing>,
}

impl Anchors {
    /// The clock of a step that begins at `minute` and belongs to `batch`, if it belongs to one.
    ///
    /// A batch that was mixed has its own clock; every other step goes by the last mixing before it, or by the first of all.
    ///
    /// ```
    /// use heeltap::casting::bench::clock::{Anchors, Mixing};
    /// let mixed = |batch, at: &str, minute| Mixing { batch, at: at.parse().unwrap(), minute };
    /// let anchors = Anchors {
    ///     start_at: None,
    ///     mixed: vec![mixed(1, "2026-03-10T09:40:00Z", 30.0), mixed(2, "2026-03-10T10:30:00Z", 60.0)],
    /// };
    /// let shown = |batch, starts, minute| anchors.of(batch, starts).at(minute).unwrap().to_rfc3339();
    /// // The pot life of the first batch ends after the second was mixed: it is still counted from its own mixing.
    /// assert_eq!(shown(Some(1), 40.0, 120.0), "2026-03-10T11:10:00+00:00");
    /// assert_eq!(shown(Some(2), 55.0, 60.0), "2026-03-10T10:30:00+00:00");
    /// assert_eq!(shown(None, 70.0, 70.0), "2026-03-10T10:40:00+00:00");
    /// assert_eq!(shown(None, 0.0, 0.0), "2026-03-10T09:10:00+00:00");
    /// assert_eq!(Anchors::default().of(None, 0.0).at(0.0), None);
    /// ```
    #[must_use]
    pub fn of(&self, batch: Option<i32>, minute: f64) -> Times {
        let own = self.mixed.iter().find(|one| Some(one.batch) == batch);
        let before = self.mixed.iter().filter(|one| one.minute <= minute);
        let last = before.max_by(|one, other| one.minute.total_cmp(&other.minute));
        let first = || {
            let all = self.mixed.iter();
            all.min_by(|one, other| one.minute.total_cmp(&other.minute))
        };
        Times {
            start_at: self.start_at,
            mixed: own.or(last).or_else(first).copied(),
        }
    }
}

/// The clock of a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times {
    start_at: Option<DateTime<Utc>>,
    mixed: Option<Mixing>,
}

impl Times {
    /// The instant of a minute of the sheet; none when nothing was said of the clock, or it is out of all range.
    ///
    /// From the mixing on the instant of the mixing rules; before it, the start of the work if that was said.
    ///
    /// ```
    /// use heeltap::casting::bench::clock::{Anchors, Mixing};
    /// let at = "2026-03-10T09:40:00Z".parse().unwrap();
    /// let anchors = Anchors { start_at: None, mixed: vec![Mixing { batch: 1, at, minute: 30.0 }] };
    /// let clock = anchors.of(Some(1), 25.0);
    /// assert_eq!(clock.at(32.5).unwrap().to_rfc3339(), "2026-03-10T09:42:30+00:00");
    /// assert_eq!(clock.at(0.0).unwrap().to_rfc3339(), "2026-03-10T09:10:00+00:00");
    /// ```
    #[must_use]
    pub fn at(&self, minute: f64) -> Option<DateTime<Utc>> {
        let (anchor, from_min) = match (self.start_at, self.mixed) {
            (Some(start), Some(mixed)) if minute < mixed.minute => (start, 0.0),
            (_, Some(mixed)) => (mixed.at, mixed.minute),
            (Some(start), None) => (start, 0.0),
            (None, None) => return None,
        };
        let seconds = ((minute - from_min) * 60.0).round();
        // Times on a sheet are far from where seconds leave the whole numbers of i64.
        anchor.checked_add_signed(TimeDelta::try_seconds(seconds as i64)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn before_the_mixing_the_start_rules() {
        let at = "2026-03-10T09:40:00Z".parse().unwrap();
        let anchors = Anchors {
            start_at: "2026-03-10T09:00:00Z".parse().ok(),
            mixed: vec![Mixing {
                batch: 1,
                at,
                minute: 30.0,
            }],
        };
        let clock = anchors.of(None, 0.0);
        let shown = |minute: f64| clock.at(minute).unwrap().to_rfc3339();
        assert_eq!(shown(29.0), "2026-03-10T09:29:00+00:00");
        assert_eq!(shown(30.0), "2026-03-10T09:40:00+00:00");
        assert_eq!(shown(90.0), "2026-03-10T10:40:00+00:00");
    }
}
