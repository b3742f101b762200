//! The arithmetic of one lot's ledger: what an issue is worth, and how movements chain.
//!
//! Invariants: an issue's value is the lot's remaining value x quantity / the lot's remaining quantity, half to even,
//! in recording order, and the issue that empties the lot takes all that remains, so that over a lot's life
//! landed cost = value issued net of reversals + value on hand, to the millionth. Each movement's hash covers the
//! hash before it (SHA-256), so that a changed, dropped or inserted movement breaks the chain after it.
//! Deliberately absent: which pack is taken (see `picking`), and any statement to the database.

use std::fmt;

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};
use sha2::{Digest, Sha256};

use crate::base::{Error, Money, Quantity, round_half_even_div};

/// What a movement stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MovementKind {
    /// What a purchase line brought.
    Receipt,
    /// What a cast took and poured.
    Consumption,
    /// What a cast took and left in the mixing cup.
    Residue,
    /// What a use of a durable took from its value.
    Wear,
    /// What was spilled.
    Spill,
    /// The difference that counting or weighing found.
    Count,
    /// What was thrown away, with a reason.
    WriteOff,
    /// A change of value without a change of quantity.
    Revaluation,
    /// What takes another movement back.
    Reversal,
}

impl MovementKind {
    /// Every kind.
    pub const ALL: [Self; 9] = [
        Self::Receipt,
        Self::Consumption,
        Self::Residue,
        Self::Wear,
        Self::Spill,
        Self::Count,
        Self::WriteOff,
        Self::Revaluation,
        Self::Reversal,
    ];

    /// The kind's word, as it is stored and shown.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Receipt => "receipt",
            Self::Consumption => "consumption",
            Self::Residue => "residue",
            Self::Wear => "wear",
            Self::Spill => "spill",
            Self::Count => "count",
            Self::WriteOff => "write_off",
            Self::Revaluation => "revaluation",
            Self::Reversal => "reversal",
        }
    }

    /// The kind of a stored word; none when the word is unknown.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }

    /// Whether the movement belongs to a lot's landed cost.
    #[must_use]
    pub const fn is_landed_cost(self) -> bool {
        matches!(self, Self::Receipt | Self::Revaluation)
    }

    /// Whether the movement is a loss, whatever it was lost for.
    #[must_use]
    pub const fn is_loss(self) -> bool {
        matches!(self, Self::Spill | Self::Count | Self::WriteOff)
    }

    /// Whether the movement is demand in the sense of reordering.
    #[must_use]
    pub const fn is_demand(self) -> bool {
        matches!(self, Self::Consumption | Self::Residue | Self::Spill)
    }
}

impl fmt::Display for MovementKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A movement about to be recorded. Quantities and values are signed: what leaves is negative.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Posting {
    /// The lot.
    pub lot_id: i64,
    /// The pack; none for a change of value only.
    pub pack_id: Option<i64>,
    /// What it stands for.
    pub kind: MovementKind,
    /// The change of the pack's quantity.
    pub quantity: Quantity,
    /// The change of the lot's value.
    pub value: Money,
    /// Why, in words; may be empty.
    pub reason: String,
    /// Who.
    pub actor: String,
    /// The cast it belongs to.
    pub cast_id: Option<i64>,
    /// The batch of that cast.
    pub batch_no: Option<i32>,
    /// What the cast took it for, such as `base` or `tape`.
    pub purpose: Option<String>,
    /// The movement it takes back.
    pub reverses_id: Option<i64>,
    /// The day at the bench.
    pub effective_on: NaiveDate,
}

/// Where a lot's ledger stands: quantity, value, and the head of its chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotBalance {
    /// What the packs hold together.
    pub quantity: Quantity,
    /// What that is worth.
    pub value: Money,
    /// The sequence number of the last movement; 0 before the first.
    pub seq: i64,
    /// The hash of the last movement; empty before the first.
    pub head: String,
}

/// A posting with its place in the chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chained {
    /// The sequence number in the lot.
    pub seq: i64,
    /// The hash, in hexadecimal.
    pub hash: String,
}

impl LotBalance {
    /// A lot before its receipt.
    #[must_use]
    pub fn empty() -> Self {
        Self {
            quantity: Quantity::ZERO,
            value: Money::ZERO,
            seq: 0,
            head: String::new(),
        }
    }

    /// What an issue of `quantity` (positive, at most what the lot holds) is worth.
    ///
    /// # Errors
    /// [`Error::Internal`] when the lot does not hold so much: the caller must have decided that before.
    ///
    /// ```
    /// use heeltap::base::{Money, Quantity};
    /// use heeltap::stock::ledger::LotBalance;
    /// let lot = LotBalance { quantity: Quantity::from_int(3), value: Money::from_int(10), ..LotBalance::empty() };
    /// assert_eq!(lot.issue_value(Quantity::from_int(1)).unwrap().to_string(), "3.333333");
    /// assert_eq!(lot.issue_value(Quantity::from_int(3)).unwrap(), Money::from_int(10));
    /// ```
    pub fn issue_value(&self, quantity: Quantity) -> Result<Money, Error> {
        if quantity < Quantity::ZERO || quantity > self.quantity {
            return Err(Error::internal(format!(
                "an issue of {quantity} from a lot that holds {}",
                self.quantity
            )));
        }
        if quantity == self.quantity {
            return Ok(self.value);
        }
        share(self.value, quantity.micro(), self.quantity.micro())
    }

    /// What one more use of a durable is worth, when `remaining_uses` (at least 1) are left in the lot.
    ///
    /// # Errors
    /// [`Error::Internal`] when no use is left.
    pub fn wear_value(&self, remaining_uses: i64) -> Result<Money, Error> {
        share(self.value, 1, remaining_uses)
    }

    /// Records a posting: moves the balance on and gives the posting its place in the chain.
    ///
    /// # Errors
    /// [`Error::Internal`] when quantity or value would become negative or leave the range.
    pub fn append(
        &mut self,
        posting: &Posting,
        recorded_at: DateTime<Utc>,
    ) -> Result<Chained, Error> {
        let quantity = self.quantity.checked_add(posting.quantity)?;
        let value = self.value.checked_add(posting.value)?;
        if quantity < Quantity::ZERO || value < Money::ZERO {
            return Err(Error::internal(format!(
                "lot {}: {} of {} at {} would leave {quantity} at {value}",
                posting.lot_id, posting.kind, posting.quantity, posting.value
            )));
        }
        let seq = self.seq + 1;
        let hash = chain_hash(&self.head, seq, posting, recorded_at);
        *self = Self {
            quantity,
            value,
            seq,
            head: hash.clone(),
        };
        Ok(Chained { seq, hash })
    }
}

fn share(value: Money, part: i64, whole: i64) -> Result<Money, Error> {
    i128::from(value.micro())
        .checked_mul(i128::from(part))
        .and_then(|product| round_half_even_div(product, i128::from(whole)))
        .and_then(|micro| i64::try_from(micro).ok())
        .map(Money::from_micro)
        .ok_or_else(|| Error::internal(format!("{value} x {part} / {whole} cannot be computed")))
}

/// The hash of a movement: SHA-256 over the hash before it and the movement's content, version 1.
///
/// Every field is written with its length before it, so that no two contents read alike.
#[must_use]
pub fn chain_hash(
    previous: &str,
    seq: i64,
    posting: &Posting,
    recorded_at: DateTime<Utc>,
) -> String {
    let shown = |id: Option<i64>| id.map(|id| id.to_string()).unwrap_or_default();
    let fields = [
        "heeltap movement 1".to_owned(),
        previous.to_owned(),
        posting.lot_id.to_string(),
        seq.to_string(),
        shown(posting.pack_id),
        posting.kind.as_str().to_owned(),
        posting.quantity.micro().to_string(),
        posting.value.micro().to_string(),
        posting.reason.clone(),
        posting.actor.clone(),
        shown(posting.cast_id),
        shown(posting.batch_no.map(i64::from)),
        posting.purpose.clone().unwrap_or_default(),
        shown(posting.reverses_id),
        posting.effective_on.to_string(),
        recorded_at.to_rfc3339_opts(SecondsFormat::Micros, true),
    ];
    let mut digest = Sha256::new();
    for field in fields {
        digest.update((field.len() as u64).to_be_bytes());
        digest.update(field.as_bytes());
    }
    hex::encode(digest.finalize())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lot(quantity: i64, value: i64) -> LotBalance {
        LotBalance {
            quantity: Quantity::from_micro(quantity),
            value: Money::from_micro(value),
            ..LotBalance::empty()
        }
    }

    #[track_caller]
    fn check(quantity: i64, value: i64, issue: i64, expected: Option<i64>) {
        assert_eq!(
            lot(quantity, value)
                .issue_value(Quantity::from_micro(issue))
                .ok()
                .map(Money::micro),
            expected
        );
    }

    #[test]
    fn issues_are_worth_their_share() {
        check(3, 10, 1, Some(3));
        check(4, 10, 1, Some(2)); // 2.5: half to even
        check(4, 14, 1, Some(4)); // 3.5: half to even
        check(3, 10, 3, Some(10));
        check(3, 10, 0, Some(0));
        check(3, 10, 4, None);
        check(3, 10, -1, None);
    }

    fn posting(quantity: i64, value: i64) -> Posting {
        Posting {
            lot_id: 1,
            pack_id: Some(1),
            kind: MovementKind::Consumption,
            quantity: Quantity::from_micro(quantity),
            value: Money::from_micro(value),
            reason: "r".into(),
            actor: "a".into(),
            cast_id: None,
            batch_no: None,
            purpose: None,
            reverses_id: None,
            effective_on: NaiveDate::MIN,
        }
    }

    #[test]
    fn the_hash_covers_every_field_and_the_one_before() {
        let at = DateTime::<Utc>::UNIX_EPOCH;
        let base = posting(-1, -1);
        let variants = [
            base.clone(),
            Posting {
                lot_id: 2,
                ..base.clone()
            },
            Posting {
                pack_id: None,
                ..base.clone()
            },
            Posting {
                kind: MovementKind::Residue,
                ..base.clone()
            },
            posting(-2, -1),
            posting(-1, -2),
            Posting {
                reason: "ra".into(),
                actor: String::new(),
                ..base.clone()
            },
            Posting {
                actor: "b".into(),
                ..base.clone()
            },
            Posting {
                cast_id: Some(1),
                ..base.clone()
            },
            Posting {
                batch_no: Some(1),
                ..base.clone()
            },
            Posting {
                purpose: Some("base".into()),
                ..base.clone()
            },
            Posting {
                reverses_id: Some(1),
                ..base.clone()
            },
            Posting {
                effective_on: NaiveDate::MAX,
                ..base.clone()
            },
        ];
        let mut hashes: Vec<String> = variants.iter().map(|p| chain_hash("", 1, p, at)).collect();
        hashes.push(chain_hash("x", 1, &base, at));
        hashes.push(chain_hash("", 2, &base, at));
        hashes.push(chain_hash(
            "",
            1,
            &base,
            at + chrono::Duration::microseconds(1),
        ));
        let distinct: std::collections::BTreeSet<&String> = hashes.iter().collect();
        assert_eq!(distinct.len(), hashes.len());
    }

    proptest! {
        /// Any run of issues that empties a lot hands out exactly what the lot was worth.
        #[test]
        fn value_is_conserved(parts in prop::collection::vec(1_i64..1_000_000_000, 1..40), value in 0_i64..1_000_000_000_000) {
            let total: i64 = parts.iter().sum();
            let mut balance = lot(total, value);
            let mut issued = 0;
            for part in parts {
                let worth = balance.issue_value(Quantity::from_micro(part)).unwrap();
                prop_assert!(worth >= Money::ZERO);
                issued += worth.micro();
                balance.append(&posting(-part, -worth.micro()), DateTime::<Utc>::UNIX_EPOCH).unwrap();
            }
            prop_assert_eq!(issued, value);
            prop_assert_eq!(balance.value, Money::ZERO);
            prop_assert_eq!(balance.quantity, Quantity::ZERO);
        }
    }
}
