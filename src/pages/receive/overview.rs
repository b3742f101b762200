//! What waits to be received, what is on order, and what came last, each as a row.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::lots::{Items, LotShown, lot_kept};
use super::order::what;
use crate::base::{Currency, local_date};
use crate::pages::words::day;
use crate::purchasing::facts::LineState;
use crate::purchasing::ops::{DraftView, OrderView};
use crate::stock::views::LotView;

/// A file that waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Waiting {
    /// Its id.
    pub(super) id: i64,
    /// Its name.
    pub(super) name: String,
    /// Who sent it, and when.
    pub(super) sent: String,
}

/// An order of which something is to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Expected {
    /// Its number.
    pub(super) order_no: String,
    /// Its number as a part of an address.
    pub(super) address: String,
    /// The supplier's name.
    pub(super) supplier: String,
    /// The day of the order.
    pub(super) ordered: String,
    /// When the first of its lines should come.
    pub(super) expected: Option<String>,
    /// Whether that day is gone.
    pub(super) late: bool,
    /// What is to come.
    pub(super) lines: Vec<String>,
    /// How many more lines are to come.
    pub(super) lines_more: usize,
}

/// A lot that came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Came {
    /// The lot.
    pub(super) lot: LotShown,
    /// The day it came.
    pub(super) day: String,
    /// The supplier's name.
    pub(super) supplier: String,
}

/// A file that was received.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Received {
    /// The import's id.
    pub(super) id: i64,
    /// Who received it, and when.
    pub(super) words: String,
}

/// How many lines of an order are named.
const LINES_SHOWN: usize = 6;

/// An instant as its day and its minute, in the installation's time zone.
pub(super) fn moment(at: DateTime<Utc>, zone: Tz, today: NaiveDate) -> String {
    let minute = at.with_timezone(&zone).format("%H:%M");
    match local_date(at, zone) {
        on if on == today => format!("today, {minute}"),
        on => format!("{}, {minute}", day(on, today)),
    }
}

/// Files that wait.
pub(super) fn waiting(drafts: Vec<DraftView>, (zone, today): (Tz, NaiveDate)) -> Vec<Waiting> {
    let row = |draft: DraftView| Waiting {
        id: draft.id,
        sent: format!(
            "{}, by {}",
            moment(draft.created_at, zone, today),
            draft.created_by
        ),
        name: draft.name,
    };
    drafts.into_iter().map(row).collect()
}

/// An order of which something is to come.
pub(super) fn expected(
    order: &OrderView,
    (supplier, address): (String, String),
    (items, today): (&Items, NaiveDate),
) -> Expected {
    let open: Vec<_> = order
        .lines
        .iter()
        .filter(|line| line.state == LineState::Ordered)
        .collect();
    let first = open.iter().filter_map(|line| line.expected_on).min();
    Expected {
        order_no: order.order_no.clone(),
        address,
        supplier,
        ordered: day(order.ordered_on, today),
        expected: first.map(|on| day(on, today)),
        late: first.is_some_and(|on| on < today),
        lines: open
            .iter()
            .take(LINES_SHOWN)
            .map(|line| what(line, items))
            .collect(),
        lines_more: open.len().saturating_sub(LINES_SHOWN),
    }
}

/// A lot that came.
pub(super) fn came(
    lot: &LotView,
    supplier: String,
    (items, today): (&Items, NaiveDate),
    currency: Currency,
) -> Came {
    Came {
        lot: lot_kept(lot, items, currency),
        day: day(lot.received_on, today),
        supplier,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_told_by_the_local_day() {
        let at: DateTime<Utc> = "2026-03-01T23:30:00Z".parse().unwrap();
        let today = "2026-03-02".parse().unwrap();
        assert_eq!(moment(at, chrono_tz::UTC, today), "Sun 1 Mar, 23:30");
        let east = chrono_tz::Europe::Athens;
        assert_eq!(moment(at, east, today), "today, 01:30");
    }
}
