//! The life of a cast as a line: what happened, when and by whom, and what is to come.
//!
//! Invariant: the line is in the order of the work; what is still to come has no name beside it. Deliberately absent: the
//! changes of its day (the books keep the last only).

use chrono::NaiveDate;
use chrono_tz::Tz;

use crate::base::local_date;
use crate::casting::life::view::CastView;
use crate::pages::words::{counted, day};

/// A point of the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Point {
    /// What.
    pub(super) what: &'static str,
    /// The day in words.
    pub(super) when: String,
    /// Who, once it is done.
    pub(super) who: Option<String>,
    /// What more is to be said.
    pub(super) more: Option<String>,
}

/// The line of a cast.
pub(super) fn line(cast: &CastView, zone: Tz, today: NaiveDate) -> Vec<Point> {
    let of = |instant| day(local_date(instant, zone), today);
    let mut line = vec![Point {
        what: "Booked",
        when: of(cast.booked_at),
        who: Some(cast.booked_by.clone()),
        more: Some(counted(cast.plan.containers, "tray", "trays")),
    }];
    line.extend(cast.charge_changes.iter().map(|change| Point {
        what: "Charged otherwise",
        when: of(change.recorded_at),
        who: Some(change.actor.clone()),
        more: Some(change.reason.clone()),
    }));
    if let Some(at) = cast.cancelled_at {
        line.push(Point {
            what: "Cancelled",
            when: of(at),
            who: None,
            more: None,
        });
        return line;
    }
    line.push(match (cast.poured_on, &cast.pour) {
        (Some(on), Some(pour)) => Point {
            what: "Poured",
            when: day(on, today),
            who: cast.poured_by.clone(),
            more: Some(counted(pour.containers_poured, "tray", "trays")),
        },
        _ => Point {
            what: "To be poured",
            when: day(cast.cast_on, today),
            who: None,
            more: None,
        },
    });
    line.push(match (cast.demolded_on, &cast.demold) {
        (Some(on), Some(record)) => {
            let mut more = format!("{} good", counted(record.good, "chip", "chips"));
            for reject in &record.rejects {
                more.push_str(&format!(", {} rejected: {}", reject.count, reject.reason));
            }
            Point {
                what: "Demoulded",
                when: day(on, today),
                who: cast.demolded_by.clone(),
                more: Some(more),
            }
        }
        _ => Point {
            what: "To be demoulded",
            when: "after the cure".to_owned(),
            who: None,
            more: None,
        },
    });
    line
}
