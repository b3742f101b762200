//! The events of the calendar, from what the rooms below say.
//!
//! Invariants: an event's `uid` is made of what it is about and never of its day; each lasts one day; the order is that of
//! the days, so that the same books give the same feed. Deliberately absent: how a feed is written.

use chrono::{Datelike, NaiveDate, TimeDelta};

use crate::base::Currency;
use crate::casting::life::booked::BookedCast;
use crate::notify::words::{cast_words, expiry_sentence, order_words};
use crate::reorder::kept::KeptAdvice;
use crate::stock::expiries::Expiry;

/// How far back the calendar goes, in days: what is past and still open stays in sight for a month.
pub const DAYS_BACK: i64 = 30;

/// The last year that a calendar file can name with four digits, less one for the day after.
const LAST_YEAR: i32 = 9998;

/// What an event is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Category {
    /// A last day to order.
    Order,
    /// A last good day.
    Expiry,
    /// A booked cast.
    Cast,
}

impl Category {
    /// The word that stands in the feed.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Category::Order => "Order",
            Category::Expiry => "Expiry",
            Category::Cast => "Cast",
        }
    }
}

/// An event of one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// What it is known by in every calendar.
    pub uid: String,
    /// The day.
    pub on: NaiveDate,
    /// What stands in the calendar.
    pub summary: String,
    /// What is said of it.
    pub description: String,
    /// What it is about.
    pub category: Category,
    /// Whether it may yet fail: a cast that lacks stock.
    pub tentative: bool,
    /// How often it was changed, where that is known.
    pub sequence: Option<i64>,
}

/// What the events are made of.
#[derive(Debug, Clone)]
pub struct CalendarFacts {
    /// What tells this installation from any other: a part of every `uid`.
    pub installation: String,
    /// The kept advice.
    pub advice: Vec<KeptAdvice>,
    /// What of the stock is good until when.
    pub expiries: Vec<Expiry>,
    /// The booked casts.
    pub casts: Vec<BookedCast>,
    /// The currency of the books.
    pub currency: Currency,
}

/// The first day that the calendar shows.
///
/// ```
/// use heeltap::notify::calendar::events::first_day;
/// assert_eq!(first_day("2026-03-02".parse()?), "2026-01-31".parse()?);
/// # Ok::<(), chrono::ParseError>(())
/// ```
#[must_use]
pub fn first_day(today: NaiveDate) -> NaiveDate {
    today
        .checked_sub_signed(TimeDelta::days(DAYS_BACK))
        .unwrap_or(NaiveDate::MIN)
}

/// The events from [`first_day`] on, by day.
#[must_use]
pub fn events(facts: &CalendarFacts, today: NaiveDate) -> Vec<Event> {
    let orders = facts.advice.iter().filter(|advice| advice.is_watched());
    let orders = orders.filter_map(order);
    let expiries = facts
        .expiries
        .iter()
        .map(|expiry| expiring(expiry, facts.currency, today));
    let mut events: Vec<Event> = orders
        .chain(expiries)
        .chain(facts.casts.iter().map(cast))
        .map(|event| Event {
            uid: format!("{}.{}@heeltap", event.uid, facts.installation),
            ..event
        })
        .filter(|event| event.on >= first_day(today) && event.on.year() <= LAST_YEAR)
        .collect();
    events.sort_by(|one, other| (one.on, &one.uid).cmp(&(other.on, &other.uid)));
    events
}

fn order(advice: &KeptAdvice) -> Option<Event> {
    let by = match advice.late {
        true => "today, already late",
        false => "by today at the latest",
    };
    Some(Event {
        uid: format!("order-{}", advice.material),
        on: advice.order_by?,
        summary: format!("Order {by}: {}", order_words(advice)),
        description: advice.reason.clone(),
        category: Category::Order,
        tentative: false,
        sequence: None,
    })
}

fn expiring(expiry: &Expiry, currency: Currency, today: NaiveDate) -> Event {
    let of = format!("{} ({})", expiry.material, expiry.name);
    let (uid, summary) = match expiry.pack {
        Some((id, no)) => (
            format!("pack-{id}"),
            format!(
                "Last good day: open pack {no} of lot {} of {of}",
                expiry.lot
            ),
        ),
        None => (
            format!("lot-{}", expiry.lot_id),
            format!("Last good day: lot {} of {of}", expiry.lot),
        ),
    };
    Event {
        uid,
        on: expiry.on,
        summary,
        description: expiry_sentence(expiry, currency.as_str(), today),
        category: Category::Expiry,
        tentative: false,
        sequence: None,
    }
}

fn cast(cast: &BookedCast) -> Event {
    let short = match cast.short {
        true => " It lacks stock.",
        false => "",
    };
    let (code, what) = (&cast.code, cast_words(cast));
    Event {
        uid: format!("cast-{code}"),
        on: cast.cast_on,
        summary: format!("Cast {code}: {what}"),
        description: format!("{what}, booked by {}.{short}", cast.booked_by),
        category: Category::Cast,
        tentative: cast.short,
        sequence: Some((cast.version - 1).max(0)),
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::base::{Money, Quantity};

    pub(in crate::notify::calendar) fn facts() -> CalendarFacts {
        let advice = serde_json::json!({"material": "base", "name": "Base", "kind": "material", "kit": null, "watched": true,
            "order_quantity": "2000", "order_unit": "g", "order_packs": 2, "order_by": "2026-03-20", "late": false,
            "due": false, "reason": "It runs out on 2026-04-10, so order by 2026-03-20."});
        CalendarFacts {
            installation: "0a1b".to_owned(),
            advice: vec![serde_json::from_value(advice).unwrap()],
            expiries: vec![Expiry {
                lot_id: 7,
                pack: None,
                lot: "B1".to_owned(),
                material: "base".to_owned(),
                name: "Base".to_owned(),
                unit: "g".to_owned(),
                on: day("2026-03-31"),
                quantity: Quantity::from_int(500),
                value: Money::from_int(50),
            }],
            casts: vec![BookedCast {
                code: "C-00001".to_owned(),
                cast_on: day("2026-03-10"),
                recipe: "chip".to_owned(),
                recipe_name: "Chip".to_owned(),
                containers: 4,
                short: false,
                booked_by: "bench".to_owned(),
                version: 1,
            }],
            currency: Currency::parse("EUR").unwrap(),
        }
    }

    pub(in crate::notify::calendar) fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// Each event as day, uid and summary.
    fn lines(facts: &CalendarFacts) -> Vec<String> {
        events(facts, day("2026-03-02"))
            .into_iter()
            .map(|event| format!("{} {} {}", event.on, event.uid, event.summary))
            .collect()
    }

    #[test]
    fn an_event_for_each_day_to_order_by_each_last_good_day_and_each_cast() {
        assert_eq!(
            lines(&facts()),
            [
                "2026-03-10 cast-C-00001.0a1b@heeltap Cast C-00001: 4 trays of chip (Chip)",
                "2026-03-20 order-base.0a1b@heeltap Order by today at the latest: 2 packs of base (Base, 2000 g)",
                "2026-03-31 lot-7.0a1b@heeltap Last good day: lot B1 of base (Base)",
            ]
        );
        let said: Vec<String> = events(&facts(), day("2026-03-02"))
            .into_iter()
            .map(|event| event.description)
            .collect();
        assert_eq!(
            said,
            [
                "4 trays of chip (Chip), booked by bench.",
                "It runs out on 2026-04-10, so order by 2026-03-20.",
                "Lot B1 of base is good until 2026-03-31 and holds 500 g (worth 50 EUR).",
            ]
        );
    }

    #[test]
    fn an_event_that_moves_or_is_reworded_keeps_its_uid() {
        let uids = |facts: &CalendarFacts| {
            let mut uids: Vec<String> = events(facts, day("2026-03-02"))
                .into_iter()
                .map(|event| event.uid)
                .collect();
            uids.sort();
            uids
        };
        let before = uids(&facts());
        let mut moved = facts();
        moved.advice[0].order_by = Some(day("2026-03-05"));
        moved.advice[0].reason = "Otherwise.".to_owned();
        moved.advice[0].order_packs = 3;
        moved.expiries[0].on = day("2027-01-01");
        moved.expiries[0].quantity = Quantity::from_int(1);
        moved.casts[0].cast_on = day("2026-05-01");
        moved.casts[0].short = true;
        moved.casts[0].version = 2;
        assert_eq!(uids(&moved), before);
        let cast = events(&moved, day("2026-03-02")).remove(1);
        assert_eq!((cast.sequence, cast.tentative), (Some(1), true));
    }

    #[test]
    fn a_month_back_and_all_that_is_to_come() {
        let mut facts = facts();
        facts.casts[0].cast_on = day("2026-01-31");
        facts.expiries[0].on = day("2026-01-30");
        facts.advice[0].order_by = Some(day("9998-12-31"));
        let found = lines(&facts);
        assert!(found[0].starts_with("2026-01-31 cast-"), "{found:?}");
        assert!(found[1].starts_with("9998-12-31 order-"), "{found:?}");
        assert_eq!(found.len(), 2);
        facts.advice[0].order_by = NaiveDate::from_ymd_opt(10_000, 1, 1);
        assert_eq!(lines(&facts).len(), 1);
    }

    #[test]
    fn a_part_of_a_kit_and_an_order_that_is_not_needed_have_no_day() {
        let mut facts = facts();
        (facts.casts, facts.expiries) = (Vec::new(), Vec::new());
        facts.advice[0].order_by = None;
        assert!(lines(&facts).is_empty());
        let part = serde_json::json!({"material": "base", "name": "Base", "kind": "material", "kit": "kit-a", "watched": false,
            "order_quantity": "2000", "order_unit": "g", "order_packs": 2, "order_by": "2026-03-20", "late": true,
            "due": true, "reason": "It."});
        facts.advice = vec![serde_json::from_value(part).unwrap()];
        assert!(lines(&facts).is_empty());
    }

    #[test]
    fn an_open_pack_and_a_late_order_say_so() {
        let mut facts = facts();
        facts.expiries[0].pack = Some((12, 3));
        facts.expiries[0].value = Money::ZERO;
        facts.advice[0].late = true;
        facts.advice[0].order_packs = 1;
        let events = events(&facts, day("2026-03-02"));
        assert_eq!(
            events[1].summary,
            "Order today, already late: 1 pack of base (Base, 2000 g)"
        );
        assert_eq!(events[2].uid, "pack-12.0a1b@heeltap");
        assert_eq!(
            events[2].description,
            "Pack 3 of lot B1 of base, which is open, is good until 2026-03-31 and holds 500 g."
        );
    }
}
