//! Posting: the one way in which anything reaches the ledger.
//!
//! A [`Poster`] lives for one operation. It keeps where each lot's ledger stands, so that several postings of one
//! operation chain without reading the lot again.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::ledger::{LotBalance, MovementKind, Posting};
use super::store;
use crate::base::{Error, Money, Quantity};
use crate::db::Tx;

/// What is common to the postings of one step of an operation.
#[derive(Debug, Clone, Default)]
pub struct Occasion {
    /// The day at the bench.
    pub effective_on: NaiveDate,
    /// Why, in words; may be empty.
    pub reason: String,
    /// The cast.
    pub cast_id: Option<i64>,
    /// The batch of that cast.
    pub batch_no: Option<i32>,
    /// What the cast takes it for.
    pub purpose: Option<&'static str>,
}

/// A movement just recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Posted {
    /// The movement.
    pub id: i64,
    /// The change of the lot's value; negative for an issue.
    pub value: Money,
}

/// Appends movements, lot by lot.
#[derive(Debug, Default)]
pub struct Poster {
    balances: HashMap<i64, LotBalance>,
}

impl Poster {
    /// A poster that has read nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Where a lot stands after what this poster has posted.
    ///
    /// # Errors
    /// [`Error::Internal`] when there is no such lot.
    pub fn balance(&mut self, tx: &mut Tx<'_>, lot_id: i64) -> Result<&mut LotBalance, Error> {
        if let std::collections::hash_map::Entry::Vacant(place) = self.balances.entry(lot_id) {
            place.insert(store::lot_balance(tx.conn, lot_id)?);
        }
        self.balances
            .get_mut(&lot_id)
            .ok_or_else(|| Error::internal("a lot's balance vanished"))
    }

    /// Records a posting as it stands.
    ///
    /// # Errors
    /// [`Error::Internal`] when it would leave less than nothing.
    pub fn post(&mut self, tx: &mut Tx<'_>, posting: &Posting) -> Result<Posted, Error> {
        let now = tx.now;
        let chained = self.balance(tx, posting.lot_id)?.append(posting, now)?;
        let id = store::movement_insert(tx.conn, posting, &chained, now)?;
        Ok(Posted {
            id,
            value: posting.value,
        })
    }

    /// Takes `quantity` (more than 0) from a pack at the lot's value.
    ///
    /// # Errors
    /// [`Error::Internal`] when the lot does not hold so much.
    pub fn issue(
        &mut self,
        tx: &mut Tx<'_>,
        (lot_id, pack_id): (i64, i64),
        kind: MovementKind,
        quantity: Quantity,
        occasion: &Occasion,
    ) -> Result<Posted, Error> {
        let value = self.balance(tx, lot_id)?.issue_value(quantity)?;
        let (quantity, value) = (quantity.checked_neg()?, value.checked_neg()?);
        self.post(
            tx,
            &posting(
                (lot_id, Some(pack_id)),
                kind,
                (quantity, value),
                tx.actor,
                occasion,
            ),
        )
    }

    /// Takes one use's share of a durable's value from its lot.
    ///
    /// # Errors
    /// [`Error::Internal`] when no use is left.
    pub fn wear(
        &mut self,
        tx: &mut Tx<'_>,
        lot_id: i64,
        remaining_uses: i64,
        occasion: &Occasion,
    ) -> Result<Posted, Error> {
        let value = self
            .balance(tx, lot_id)?
            .wear_value(remaining_uses)?
            .checked_neg()?;
        self.post(
            tx,
            &posting(
                (lot_id, None),
                MovementKind::Wear,
                (Quantity::ZERO, value),
                tx.actor,
                occasion,
            ),
        )
    }

    /// Sets a pack's quantity right by `difference`: what is missing leaves at the lot's value, what is found has none.
    ///
    /// # Errors
    /// [`Error::Internal`] when more is missing than the lot holds.
    pub fn count(
        &mut self,
        tx: &mut Tx<'_>,
        place: (i64, i64),
        difference: Quantity,
        occasion: &Occasion,
    ) -> Result<Posted, Error> {
        if difference < Quantity::ZERO {
            return self.issue(
                tx,
                place,
                MovementKind::Count,
                difference.checked_neg()?,
                occasion,
            );
        }
        let (lot_id, pack_id) = place;
        self.post(
            tx,
            &posting(
                (lot_id, Some(pack_id)),
                MovementKind::Count,
                (difference, Money::ZERO),
                tx.actor,
                occasion,
            ),
        )
    }
}

pub(super) fn posting(
    (lot_id, pack_id): (i64, Option<i64>),
    kind: MovementKind,
    (quantity, value): (Quantity, Money),
    actor: &str,
    occasion: &Occasion,
) -> Posting {
    Posting {
        lot_id,
        pack_id,
        kind,
        quantity,
        value,
        reason: occasion.reason.clone(),
        actor: actor.to_owned(),
        cast_id: occasion.cast_id,
        batch_no: occasion.batch_no,
        purpose: occasion.purpose.map(str::to_owned),
        reverses_id: None,
        effective_on: occasion.effective_on,
    }
}
