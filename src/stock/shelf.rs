//! The shelf: packs as they stand before a decision, and why one of them cannot serve a given day.
//!
//! Deliberately absent: which of the usable packs is preferred (see `picking`).

use chrono::{Days, NaiveDate};

use crate::base::{Money, Quantity};

/// A pack with what a decision needs to know of its lot and material.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackFacts {
    /// The pack.
    pub pack_id: i64,
    /// Its number within the lot, from 1.
    pub no: i32,
    /// The lot.
    pub lot_id: i64,
    /// The supplier's lot code.
    pub lot_code: String,
    /// The kit lot code shared by base and curing agent.
    pub kit_lot: Option<String>,
    /// The material.
    pub material_id: i64,
    /// The grant that paid for the lot; none when it is common stock.
    pub funded_by_id: Option<i64>,
    /// When the lot was received.
    pub received_on: NaiveDate,
    /// When the lot expires.
    pub expires_on: Option<NaiveDate>,
    /// When the pack was opened.
    pub opened_on: Option<NaiveDate>,
    /// How many days an opened pack keeps.
    pub open_life_days: Option<u32>,
    /// Why the pack is held back.
    pub held_reason: Option<String>,
    /// What the pack holds.
    pub on_hand: Quantity,
    /// What of it is promised.
    pub reserved: Quantity,
    /// What will not pour out of the pack.
    pub heel: Quantity,
    /// What the lot holds, and what that is worth: the price of a unit picked from it.
    pub lot_on_hand: Quantity,
    /// The lot's remaining value.
    pub lot_value: Money,
}

/// Why a pack cannot serve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unusable {
    /// It is held back.
    Held(String),
    /// It expires, or its open life ends, before the day.
    ExpiresBefore(NaiveDate),
    /// It is received only after the day.
    ReceivedAfter(NaiveDate),
    /// It holds nothing but the heel.
    OnlyHeel,
    /// It is empty.
    Empty,
    /// All of it is promised to other casts.
    Promised,
    /// Another grant paid for it.
    OtherGrant,
}

impl std::fmt::Display for Unusable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Held(reason) => write!(f, "held: {reason}"),
            Self::ExpiresBefore(day) => write!(f, "keeps only until {day}"),
            Self::ReceivedAfter(day) => write!(f, "received only on {day}"),
            Self::OnlyHeel => f.write_str("nothing but the heel is left"),
            Self::Empty => f.write_str("empty"),
            Self::Promised => f.write_str("all promised to other casts"),
            Self::OtherGrant => {
                f.write_str("paid for by another grant; allow_cross_charge would use it")
            }
        }
    }
}

impl PackFacts {
    /// The last day on which the pack is good: the earlier of expiry and end of open life; none when it keeps.
    #[must_use]
    pub fn effective_expiry(&self) -> Option<NaiveDate> {
        let open_life = self
            .opened_on
            .zip(self.open_life_days)
            .and_then(|(opened, days)| opened.checked_add_days(Days::new(days.into())));
        match (self.expires_on, open_life) {
            (Some(expiry), Some(life)) => Some(expiry.min(life)),
            (one, other) => one.or(other),
        }
    }

    /// What of the pack can be had: on hand, less the heel.
    #[must_use]
    pub fn pourable(&self) -> Quantity {
        let left = self.on_hand.micro().saturating_sub(self.heel.micro());
        Quantity::from_micro(left.max(0))
    }

    /// What of the pack can still be promised: what can be had of it, less what is promised.
    #[must_use]
    pub fn free(&self) -> Quantity {
        let left = self
            .pourable()
            .micro()
            .saturating_sub(self.reserved.micro());
        Quantity::from_micro(left.max(0))
    }

    /// Why the pack cannot serve on `day`, apart from how much it holds; none when it can.
    #[must_use]
    pub fn barred(&self, day: NaiveDate) -> Option<Unusable> {
        if let Some(reason) = &self.held_reason {
            return Some(Unusable::Held(reason.clone()));
        }
        if let Some(expiry) = self.effective_expiry().filter(|expiry| *expiry < day) {
            return Some(Unusable::ExpiresBefore(expiry));
        }
        if self.received_on > day {
            return Some(Unusable::ReceivedAfter(self.received_on));
        }
        None
    }

    /// Why the pack cannot serve on `day`, including that nothing of it is free; none when it can.
    #[must_use]
    pub fn unusable(&self, day: NaiveDate) -> Option<Unusable> {
        if self.on_hand == Quantity::ZERO {
            return Some(Unusable::Empty);
        }
        self.barred(day).or_else(|| {
            let pours = self.pourable() > Quantity::ZERO;
            match (self.free() > Quantity::ZERO, pours) {
                (true, _) => None,
                (false, false) => Some(Unusable::OnlyHeel),
                (false, true) => Some(Unusable::Promised),
            }
        })
    }
}

/// Counts promises of packs as free again: those of a cast that is about to take what it was promised.
pub fn give_back(shelf: &mut [PackFacts], promised: impl IntoIterator<Item = (i64, Quantity)>) {
    for (pack_id, quantity) in promised {
        if let Some(pack) = shelf.iter_mut().find(|pack| pack.pack_id == pack_id) {
            let left = pack.reserved.micro().saturating_sub(quantity.micro());
            pack.reserved = Quantity::from_micro(left);
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    pub(crate) fn pack(pack_id: i64, on_hand: i32) -> PackFacts {
        PackFacts {
            pack_id,
            no: 1,
            lot_id: pack_id,
            lot_code: format!("L{pack_id}"),
            kit_lot: None,
            material_id: 1,
            funded_by_id: None,
            received_on: day("2026-01-01"),
            expires_on: None,
            opened_on: None,
            open_life_days: None,
            held_reason: None,
            on_hand: Quantity::from_int(on_hand),
            reserved: Quantity::ZERO,
            heel: Quantity::ZERO,
            lot_on_hand: Quantity::from_int(on_hand),
            lot_value: Money::from_int(on_hand),
        }
    }

    #[track_caller]
    fn check(pack: PackFacts, on: &str, expected: Option<&str>) {
        assert_eq!(
            pack.unusable(day(on)).map(|why| why.to_string()).as_deref(),
            expected
        );
    }

    #[test]
    fn why_a_pack_cannot_serve() {
        check(pack(1, 5), "2026-02-01", None);
        check(pack(1, 0), "2026-02-01", Some("empty"));
        check(
            pack(1, 5),
            "2025-12-31",
            Some("received only on 2026-01-01"),
        );
        check(
            PackFacts {
                expires_on: Some(day("2026-02-01")),
                ..pack(1, 5)
            },
            "2026-02-01",
            None,
        );
        check(
            PackFacts {
                expires_on: Some(day("2026-01-31")),
                ..pack(1, 5)
            },
            "2026-02-01",
            Some("keeps only until 2026-01-31"),
        );
        let opened = PackFacts {
            opened_on: Some(day("2026-01-10")),
            open_life_days: Some(20),
            ..pack(1, 5)
        };
        check(opened.clone(), "2026-01-30", None);
        check(opened, "2026-01-31", Some("keeps only until 2026-01-30"));
        check(
            PackFacts {
                held_reason: Some("cloudy".into()),
                ..pack(1, 5)
            },
            "2026-02-01",
            Some("held: cloudy"),
        );
        check(
            PackFacts {
                heel: Quantity::from_int(5),
                ..pack(1, 5)
            },
            "2026-02-01",
            Some("nothing but the heel is left"),
        );
        check(
            PackFacts {
                reserved: Quantity::from_int(5),
                ..pack(1, 5)
            },
            "2026-02-01",
            Some("all promised to other casts"),
        );
    }
}
