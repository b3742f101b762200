//! What the daily mail tells: data alone, as it was when the mail was queued.
//!
//! Invariants: it is queued only where a warning stands that nobody has acknowledged; the order is by gravity and day, so
//! that the same books give the same digest. Deliberately absent: words (`render` has them).

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use crate::casting::life::booked::BookedCast;
use crate::reorder::alarms::EXPIRING_SOON_DAYS;
use crate::reorder::kept::KeptAdvice;
use crate::stock::expiries::Expiry;

/// How many days of casts it tells, today and the days after it.
pub const CAST_DAYS: i64 = 7;

/// A warning whose cause stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DigestWarning {
    /// The kind of warning.
    pub kind: String,
    /// The noun of what it is about.
    pub subject_noun: String,
    /// The code of what it is about.
    pub subject: String,
    /// How grave, 1 to 3.
    pub severity: i32,
    /// The day by which to act.
    pub due_on: Option<NaiveDate>,
    /// One plain sentence.
    pub reason: String,
    /// Who acknowledged it, and the note.
    pub acknowledged: Option<Acknowledged>,
}

/// Who is at it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acknowledged {
    /// Who.
    pub by: String,
    /// What is being done about it.
    pub note: String,
}

/// What the daily mail tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Digest {
    /// The local day.
    pub day: NaiveDate,
    /// The currency of the books.
    pub currency: String,
    /// The warnings whose cause stands, the gravest first.
    pub warnings: Vec<DigestWarning>,
    /// What to order now, by the last day to order.
    pub orders: Vec<KeptAdvice>,
    /// What has expired on the shelf or soon will.
    pub expiries: Vec<Expiry>,
    /// Casts whose day is gone and that were not poured.
    pub overdue_casts: Vec<BookedCast>,
    /// The casts of today and the days after it.
    pub casts: Vec<BookedCast>,
}

/// The digest as it lies in the outbox.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct DigestMessage {
    /// When it was queued.
    pub timestamp: DateTime<Utc>,
    /// What it tells.
    pub data: Digest,
}

/// What a digest is made of: all that stands in the books.
#[derive(Debug, Clone, Default)]
pub struct DigestFacts {
    /// The warnings whose cause stands.
    pub warnings: Vec<DigestWarning>,
    /// The kept advice.
    pub advice: Vec<KeptAdvice>,
    /// Until when the stock is good.
    pub expiries: Vec<Expiry>,
    /// The booked casts.
    pub casts: Vec<BookedCast>,
}

/// The digest of a day; none when no warning stands that nobody has acknowledged.
#[must_use]
pub fn digest(facts: DigestFacts, day: NaiveDate, currency: &str) -> Option<Digest> {
    let mut warnings = facts.warnings;
    if warnings
        .iter()
        .all(|warning| warning.acknowledged.is_some())
    {
        return None;
    }
    // A warning without a day comes after those of its gravity that have one.
    let place = |warning: &DigestWarning| {
        let day = warning.due_on.unwrap_or(NaiveDate::MAX);
        (-warning.severity, day)
    };
    warnings.sort_by_key(place);
    let mut orders: Vec<KeptAdvice> = facts
        .advice
        .into_iter()
        .filter(|advice| advice.is_watched() && advice.due)
        .collect();
    orders.sort_by_key(|advice| (!advice.late, advice.order_by));
    let until = |days: i64| {
        day.checked_add_signed(TimeDelta::days(days))
            .unwrap_or(NaiveDate::MAX)
    };
    let mut expiries = facts.expiries;
    expiries.retain(|expiry| expiry.on <= until(EXPIRING_SOON_DAYS));
    let (overdue_casts, mut casts): (Vec<BookedCast>, Vec<BookedCast>) =
        facts.casts.into_iter().partition(|cast| cast.cast_on < day);
    casts.retain(|cast| cast.cast_on < until(CAST_DAYS));
    Some(Digest {
        day,
        currency: currency.to_owned(),
        warnings,
        orders,
        expiries,
        overdue_casts,
        casts,
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::base::{Money, Quantity};

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    pub(in crate::notify::mail) fn warning(
        kind: &str,
        noun: &str,
        subject: &str,
        severity: i32,
    ) -> DigestWarning {
        DigestWarning {
            kind: kind.to_owned(),
            subject_noun: noun.to_owned(),
            subject: subject.to_owned(),
            severity,
            due_on: None,
            reason: format!("{noun} {subject}."),
            acknowledged: None,
        }
    }

    fn expiry(lot_id: i64, lot: &str, on: &str, quantity: i32) -> Expiry {
        Expiry {
            lot_id,
            pack: None,
            lot: lot.to_owned(),
            material: "base".to_owned(),
            name: "Base".to_owned(),
            unit: "g".to_owned(),
            on: day(on),
            quantity: Quantity::from_int(quantity),
            value: Money::from_micro(i64::from(quantity) * 100_000),
        }
    }

    fn cast(code: &str, on: &str, containers: i32, short: bool) -> BookedCast {
        BookedCast {
            code: code.to_owned(),
            cast_on: day(on),
            recipe: "chip".to_owned(),
            recipe_name: "Chip".to_owned(),
            containers,
            short,
            booked_by: "bench".to_owned(),
            version: 1,
        }
    }

    fn advice(material: &str, kit: Option<&str>, due: bool, late: bool, by: &str) -> KeptAdvice {
        let kept = serde_json::json!({"material": material, "name": "Base", "kind": "material", "kit": kit,
            "watched": kit.is_none(), "order_quantity": "2000", "order_unit": "g", "order_packs": 2, "order_by": by,
            "late": late, "due": due, "reason": "It runs out."});
        serde_json::from_value(kept).unwrap()
    }

    fn facts() -> DigestFacts {
        let reason = |text: &str, warning: DigestWarning| DigestWarning {
            reason: text.to_owned(),
            ..warning
        };
        DigestFacts {
            warnings: vec![
                DigestWarning {
                    due_on: Some(day("2026-03-10")),
                    acknowledged: Some(Acknowledged {
                        by: "bench".to_owned(),
                        note: "used <first>".to_owned(),
                    }),
                    ..warning("expiring", "lot", "7", 2)
                },
                reason(
                    "Line 1 of order PO-1 has not come.",
                    warning("overdue_order", "order_line", "PO-1/1", 2),
                ),
                DigestWarning {
                    due_on: Some(day("2026-02-20")),
                    ..warning("expiring", "lot", "6", 2)
                },
                DigestWarning {
                    due_on: Some(day("2026-03-02")),
                    ..reason(
                        "Cast C-00002 lacks base.",
                        warning("cast_short", "cast", "C-00002", 3),
                    )
                },
                DigestWarning {
                    due_on: Some(day("2026-02-25")),
                    ..warning("order_by", "material", "base", 3)
                },
            ],
            advice: vec![
                advice("tape", None, false, false, "2026-04-01"),
                advice("part", Some("kit-a"), true, true, "2026-03-02"),
                advice("base", None, true, true, "2026-03-02"),
            ],
            expiries: vec![
                expiry(6, "B0", "2026-02-20", 5),
                expiry(7, "B1", "2026-03-10", 500),
                expiry(8, "B2", "2026-04-02", 500),
            ],
            casts: vec![
                cast("C-00001", "2026-02-27", 1, false),
                cast("C-00002", "2026-03-02", 4, true),
                cast("C-00003", "2026-03-03", 4, false),
                cast("C-00004", "2026-03-09", 4, false),
            ],
        }
    }

    pub(in crate::notify::mail) fn digest() -> Digest {
        super::digest(facts(), day("2026-03-02"), "EUR").unwrap()
    }

    #[test]
    fn it_tells_what_is_to_be_done_in_the_order_in_which_it_is() {
        let digest = digest();
        let subjects: Vec<&str> = digest
            .warnings
            .iter()
            .map(|warning| warning.subject.as_str())
            .collect();
        assert_eq!(subjects, ["base", "C-00002", "6", "7", "PO-1/1"]);
        let orders: Vec<&str> = digest
            .orders
            .iter()
            .map(|one| one.material.as_str())
            .collect();
        assert_eq!(orders, ["base"]);
        // 30 days from 2026-03-02 end on 2026-04-01; a week of casts ends on 2026-03-08.
        let lots: Vec<i64> = digest.expiries.iter().map(|one| one.lot_id).collect();
        assert_eq!(lots, [6, 7]);
        let codes = |casts: &[BookedCast]| {
            let codes = casts.iter().map(|cast| cast.code.clone());
            codes.collect::<Vec<String>>()
        };
        assert_eq!(codes(&digest.overdue_casts), ["C-00001"]);
        assert_eq!(codes(&digest.casts), ["C-00002", "C-00003"]);
    }

    #[test]
    fn without_a_warning_that_nobody_is_at_there_is_none() {
        let mut facts = facts();
        for warning in &mut facts.warnings {
            warning.acknowledged = Some(Acknowledged {
                by: "bench".to_owned(),
                note: String::new(),
            });
        }
        let of = |facts: &DigestFacts| super::digest(facts.clone(), day("2026-03-02"), "EUR");
        assert_eq!(of(&facts), None);
        facts.warnings[0].acknowledged = None;
        assert!(of(&facts).is_some());
        facts.warnings.clear();
        assert_eq!(of(&facts), None);
    }

    #[test]
    fn it_is_read_from_the_outbox_as_it_was_put_there() {
        let digest = digest();
        let payload = serde_json::json!({"type": "digest.daily", "timestamp": "2026-03-02T07:00:00.123456Z", "data": digest});
        let message: DigestMessage = serde_json::from_str(&payload.to_string()).unwrap();
        assert_eq!(message.data, digest);
    }
}
