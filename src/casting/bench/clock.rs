//! From minutes on the sheet to the clock on the wall.

use chrono::{DateTime, TimeDelta, Utc};

/// What is known of when the work is done.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Anchors {
    /// When the work begins.
    pub start_at: Option<DateTime<Utc>>,
    /// When a batch was mixed, and where the end of its mixing stands on the sheet, in minutes from the start.
    pub mixed: Option<(DateTime<Utc>, f64)>,
}

impl Anchors {
    /// The instant of a minute of the sheet; none when nothing was said of the clock, or it is out of all range.
    ///
    /// From the mixing on the instant of the mixing rules; before it, the start of the work if that was said.
    ///
    /// ```
    /// use heeltap::casting::bench::clock::Anchors;
    /// let mixed_at = "2026-03-10T09:40:00Z".parse().unwrap();
    /// let anchors = Anchors { start_at: None, mixed: Some((mixed_at, 30.0)) };
    /// assert_eq!(anchors.at(32.5).unwrap().to_rfc3339(), "2026-03-10T09:42:30+00:00");
    /// assert_eq!(anchors.at(0.0).unwrap().to_rfc3339(), "2026-03-10T09:10:00+00:00");
    /// assert_eq!(Anchors::default().at(0.0), None);
    /// ```
    #[must_use]
    pub fn at(&self, minute: f64) -> Option<DateTime<Utc>> {
        let (anchor, from_min) = match (self.start_at, self.mixed) {
            (Some(start), Some((_, mixed_min))) if minute < mixed_min => (start, 0.0),
            (_, Some(mixed)) => mixed,
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
        let anchors = Anchors {
            start_at: "2026-03-10T09:00:00Z".parse().ok(),
            mixed: "2026-03-10T09:40:00Z".parse().ok().map(|at| (at, 30.0)),
        };
        let shown = |minute: f64| anchors.at(minute).unwrap().to_rfc3339();
        assert_eq!(shown(29.0), "2026-03-10T09:29:00+00:00");
        assert_eq!(shown(30.0), "2026-03-10T09:40:00+00:00");
        assert_eq!(shown(90.0), "2026-03-10T10:40:00+00:00");
    }
}
