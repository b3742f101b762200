//! The audit of one lot: its movements against its chain, its balances and its value. Pure; `verify` feeds it.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::ledger::{MovementKind, Posting, chain_hash};
use crate::base::{Money, Quantity};

/// Something in the books that cannot be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Breach {
    /// The invariant that is broken, 1 to 7 as DEVELOPERS.md numbers them.
    pub invariant: u8,
    /// What it is about, such as `lot 12`.
    pub subject: String,
    /// What is wrong, in words.
    pub detail: String,
}

/// A movement as the books hold it.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The movement's id.
    pub id: i64,
    /// Its place in the lot.
    pub seq: i64,
    /// What it records.
    pub posting: Posting,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// Its hash.
    pub hash: String,
}

/// A lot as the books hold it.
#[derive(Debug, Clone)]
pub struct LotBooks {
    /// The lot's id.
    pub id: i64,
    /// What it is said to hold.
    pub on_hand: Quantity,
    /// What that is said to be worth.
    pub remaining_value: Money,
    /// What it is said to have cost.
    pub landed_cost: Money,
    /// The head of its chain.
    pub head: (i64, String),
    /// Its packs with what they are said to hold.
    pub packs: Vec<(i64, Quantity)>,
}

/// What an audited lot adds to the demand of its material, by day, in millionths.
pub type Demand = HashMap<NaiveDate, i64>;

/// Audits a lot. `entries` are all its movements in the order of `seq`. Returns what is broken (the first broken entry of
/// the chain only) and the demand that the entries stand for.
#[must_use]
pub fn audit_lot(lot: &LotBooks, entries: &[Entry]) -> (Vec<Breach>, Demand) {
    let mut breaches = Vec::new();
    let subject = format!("lot {}", lot.id);
    let mut breach = |invariant: u8, detail: String| {
        breaches.push(Breach {
            invariant,
            subject: subject.clone(),
            detail,
        })
    };
    if let Some(detail) = broken_chain(lot, entries) {
        breach(6, detail);
    }
    let (mut quantity, mut value, mut landed) = (0_i64, 0_i64, 0_i64);
    let mut packs: HashMap<i64, i64> = HashMap::new();
    let by_id: HashMap<i64, &Entry> = entries.iter().map(|entry| (entry.id, entry)).collect();
    let mut demand = Demand::new();
    for entry in entries {
        let posting = &entry.posting;
        // A figure that was tampered with may be anything: a sum out of range stays there and is told of.
        quantity = quantity.saturating_add(posting.quantity.micro());
        value = value.saturating_add(posting.value.micro());
        if let Some(pack_id) = posting.pack_id {
            let sum = packs.entry(pack_id).or_default();
            *sum = sum.saturating_add(posting.quantity.micro());
        }
        let original = posting.reverses_id.and_then(|id| by_id.get(&id).copied());
        if posting.kind == MovementKind::Reversal
            && !original.is_some_and(|original| opposite(&original.posting, posting))
        {
            breach(
                3,
                format!(
                    "movement {} does not take back exactly what it names",
                    entry.id
                ),
            );
        }
        let source = original.map_or(posting, |original| &original.posting);
        if source.kind.is_landed_cost() {
            landed = landed.saturating_add(posting.value.micro());
        }
        if source.kind.is_demand() {
            let sum = demand.entry(source.effective_on).or_default();
            *sum = sum.saturating_sub(posting.quantity.micro());
        }
        if quantity < 0 || value < 0 {
            breach(
                4,
                format!(
                    "after movement {} the lot holds {quantity} millionths worth {value}",
                    entry.id
                ),
            );
        }
    }
    let mut sums = |what: &str, books: i64, sum: i64, invariant: u8| {
        if books != sum {
            breach(
                invariant,
                format!(
                    "{what} is {books} millionths in the books, but its movements add up to {sum}"
                ),
            );
        }
    };
    sums("on hand", lot.on_hand.micro(), quantity, 2);
    sums("remaining value", lot.remaining_value.micro(), value, 2);
    sums("landed cost", lot.landed_cost.micro(), landed, 4);
    for (pack_id, on_hand) in &lot.packs {
        let sum = packs.remove(pack_id).unwrap_or(0);
        sums(
            &format!("on hand of pack {pack_id}"),
            on_hand.micro(),
            sum,
            2,
        );
    }
    for (pack_id, sum) in packs {
        sums(
            &format!("on hand of pack {pack_id}, which is not the lot's,"),
            0,
            sum,
            2,
        );
    }
    (breaches, demand)
}

fn opposite(original: &Posting, reversal: &Posting) -> bool {
    original.kind != MovementKind::Reversal
        && original.pack_id == reversal.pack_id
        && original.quantity.micro().checked_neg() == Some(reversal.quantity.micro())
        && original.value.micro().checked_neg() == Some(reversal.value.micro())
}

/// The first entry at which the chain does not hold, in words.
fn broken_chain(lot: &LotBooks, entries: &[Entry]) -> Option<String> {
    let mut previous = String::new();
    for (expected, entry) in (1_i64..).zip(entries) {
        if entry.seq != expected {
            return Some(format!(
                "movement {} has number {} where {expected} should follow: one was dropped or added",
                entry.id, entry.seq
            ));
        }
        let hash = chain_hash(&previous, entry.seq, &entry.posting, entry.recorded_at);
        if hash != entry.hash {
            return Some(format!(
                "movement {} (number {}) was altered after it was recorded",
                entry.id, entry.seq
            ));
        }
        previous = hash;
    }
    let last = entries.last().map_or(0, |entry| entry.seq);
    (lot.head != (last, previous)).then(|| {
        format!(
            "the head of the chain is number {}, but the movements end at {last}",
            lot.head.0
        )
    })
}

#[cfg(test)]
mod tests {
    use super::super::ledger::LotBalance;
    use super::*;

    fn posting(kind: MovementKind, quantity: i64, value: i64) -> Posting {
        Posting {
            lot_id: 1,
            pack_id: Some(5),
            kind,
            quantity: Quantity::from_micro(quantity),
            value: Money::from_micro(value),
            reason: String::new(),
            actor: "a".into(),
            cast_id: None,
            batch_no: None,
            purpose: None,
            reverses_id: None,
            effective_on: "2026-01-01".parse().unwrap(),
        }
    }

    fn books() -> (LotBooks, Vec<Entry>) {
        let reversal = Posting {
            reverses_id: Some(2),
            ..posting(MovementKind::Reversal, 30, 15)
        };
        let postings = [
            posting(MovementKind::Receipt, 100, 50),
            posting(MovementKind::Consumption, -30, -15),
            reversal,
            posting(MovementKind::Spill, -10, -5),
        ];
        let mut balance = LotBalance::empty();
        let at = DateTime::<Utc>::UNIX_EPOCH;
        let entries: Vec<Entry> = (1..)
            .zip(postings)
            .map(|(id, posting)| {
                let chained = balance.append(&posting, at).unwrap();
                Entry {
                    id,
                    seq: chained.seq,
                    posting,
                    recorded_at: at,
                    hash: chained.hash,
                }
            })
            .collect();
        let lot = LotBooks {
            id: 1,
            on_hand: balance.quantity,
            remaining_value: balance.value,
            landed_cost: Money::from_micro(50),
            head: (balance.seq, balance.head),
            packs: vec![(5, balance.quantity)],
        };
        (lot, entries)
    }

    #[track_caller]
    fn check(tamper: impl FnOnce(&mut LotBooks, &mut Vec<Entry>), expected: &[u8]) {
        let (mut lot, mut entries) = books();
        tamper(&mut lot, &mut entries);
        let (breaches, _) = audit_lot(&lot, &entries);
        assert_eq!(
            breaches.iter().map(|b| b.invariant).collect::<Vec<_>>(),
            expected,
            "{breaches:?}"
        );
    }

    #[test]
    fn tampering_is_found() {
        check(|_, _| {}, &[]);
        check(
            |_, entries| entries[1].posting.reason = "other".into(),
            &[6],
        );
        check(
            |_, entries| entries[3].posting.quantity = Quantity::from_micro(-9),
            &[6, 2, 2],
        );
        check(|_, entries| drop(entries.remove(3)), &[6, 2, 2, 2]);
        check(|lot, _| lot.on_hand = Quantity::from_micro(89), &[2]);
        check(|lot, _| lot.landed_cost = Money::from_micro(49), &[4]);
        check(|lot, _| lot.packs[0].1 = Quantity::from_micro(91), &[2]);
        check(|lot, _| lot.packs[0].0 = 6, &[2, 2]);
        check(
            |_, entries| entries[2].posting.value = Money::from_micro(14),
            &[6, 3, 2],
        );
    }

    #[test]
    fn demand_is_net_of_reversals() {
        let (lot, entries) = books();
        let (_, demand) = audit_lot(&lot, &entries);
        assert_eq!(demand.values().copied().collect::<Vec<_>>(), [10]);
    }
}
