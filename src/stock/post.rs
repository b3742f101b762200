//! Posting: the one way in which anything reaches the ledger.
//!
//! A [`Poster`] lives for one operation. It keeps where each lot's ledger stands, so that several postings of one
//! operation chain without reading the lot again. Invariant: an issue, a count or a reversal that lies before a count of
//! the pack is evened out at that count by a posting of its own, so that what was counted stays true.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::backdate::{Anchor, anchor_after, most_on};
use super::ledger::{LotBalance, MovementKind, Posting};
use super::store;
use crate::base::{Error, Money, Quantity, RefusalKind};
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

    /// Takes `quantity` (more than 0) from a pack at the lot's value, evened out when the pack was counted on a later day.
    ///
    /// # Errors
    /// [`Error::Refused`] when the day lies in the past and so much was not there then, or a later day would fall below 0;
    /// [`Error::Internal`] when the lot does not hold so much.
    pub fn issue(
        &mut self,
        tx: &mut Tx<'_>,
        (lot_id, pack_id): (i64, i64),
        kind: MovementKind,
        quantity: Quantity,
        occasion: &Occasion,
    ) -> Result<Posted, Error> {
        let on = occasion.effective_on;
        was_there(tx, pack_id, quantity, on)?;
        // Before the issue: what it explains must be back in the lot when the issue is valued.
        self.even_out(
            tx,
            (lot_id, pack_id),
            quantity.checked_neg()?,
            (on, None),
            on,
        )?;
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
        let found = posting(
            (lot_id, Some(pack_id)),
            MovementKind::Count,
            (difference, Money::ZERO),
            tx.actor,
            occasion,
        );
        let posted = self.post(tx, &found)?;
        let on = occasion.effective_on;
        self.even_out(tx, place, difference, (on, None), on)?;
        Ok(posted)
    }

    /// Takes a movement back on a day: exactly its quantity and value, evened out when the pack was counted since.
    ///
    /// # Errors
    /// [`Error::Internal`] when it would leave less than nothing.
    pub fn reverse(
        &mut self,
        tx: &mut Tx<'_>,
        (movement_id, original): (i64, &Posting),
        day: NaiveDate,
        reason: &str,
    ) -> Result<Posted, Error> {
        let reversal = Posting {
            kind: MovementKind::Reversal,
            quantity: original.quantity.checked_neg()?,
            value: original.value.checked_neg()?,
            reason: reason.to_owned(),
            actor: tx.actor.to_owned(),
            reverses_id: Some(movement_id),
            effective_on: day,
            ..original.clone()
        };
        let stood = (original.effective_on, Some(movement_id));
        let place = original.pack_id.map(|pack_id| (original.lot_id, pack_id));
        match place {
            Some(place) if reversal.quantity < Quantity::ZERO => {
                self.even_out(tx, place, reversal.quantity, stood, day)?;
                self.post(tx, &reversal)
            }
            Some(place) => {
                let posted = self.post(tx, &reversal)?;
                self.even_out(tx, place, reversal.quantity, stood, day)?;
                Ok(posted)
            }
            None => self.post(tx, &reversal),
        }
    }

    /// Evens out a change that stands in the pack's history at `stood` against the first count after that place, if any.
    /// `day` is the day under which the change itself is posted.
    fn even_out(
        &mut self,
        tx: &mut Tx<'_>,
        place: (i64, i64),
        change: Quantity,
        stood: (NaiveDate, Option<i64>),
        day: NaiveDate,
    ) -> Result<(), Error> {
        if change.is_zero() {
            return Ok(());
        }
        let anchors = store::anchors(tx.conn, place.1, stood.0)?;
        let Some(anchor) = anchor_after(&anchors, stood.0, stood.1) else {
            return Ok(());
        };
        let amounts = if change < Quantity::ZERO {
            let taken = change.checked_neg()?;
            (taken, anchor.value_explained(taken)?)
        } else {
            self.given(tx, place.0, anchor, change)?
        };
        let occasion = Occasion {
            effective_on: anchor.counted_on.max(day),
            reason: format!(
                "evens out an entry of {} that was recorded after the count of {}",
                stood.0, anchor.counted_on
            ),
            ..Occasion::default()
        };
        let mut offset = posting(
            (place.0, Some(place.1)),
            MovementKind::Count,
            amounts,
            tx.actor,
            &occasion,
        );
        offset.purpose = Some(store::offset_word(anchor.movement_id));
        self.post(tx, &offset).map(drop)
    }

    /// What leaves the lot when a gain is evened out: quantity and value, both 0 or less.
    fn given(
        &mut self,
        tx: &mut Tx<'_>,
        lot_id: i64,
        anchor: &Anchor,
        gain: Quantity,
    ) -> Result<(Quantity, Money), Error> {
        let giving = anchor.giving(gain)?;
        let balance = self.balance(tx, lot_id)?;
        let value = if gain == balance.quantity {
            balance.value
        } else {
            balance.issue_value(giving.at_lot_value)?
        };
        Ok((gain.checked_neg()?, value.checked_neg()?))
    }
}

/// Refuses an issue for an earlier day that would leave the pack below 0 at the end of that day or of a later one. Today
/// needs no look at the past: there what the pack holds decides.
fn was_there(
    tx: &mut Tx<'_>,
    pack_id: i64,
    quantity: Quantity,
    on: NaiveDate,
) -> Result<(), Error> {
    if on >= tx.today {
        return Ok(());
    }
    let anchors = store::anchors(tx.conn, pack_id, on)?;
    let until = anchor_after(&anchors, on, None).map(|anchor| anchor.counted_on);
    let changes = store::movements_by_day(tx.conn, pack_id)?;
    let most = Quantity::from_micro(most_on(&changes, on, until));
    if quantity <= most {
        return Ok(());
    }
    let detail = format!(
        "{quantity} cannot be taken from pack {pack_id} on {on}: by the books at most {most} were there then and are not \
         needed by later entries; count the pack as of that day first, or use a later day"
    );
    Err(Error::refused(RefusalKind::HistoryConflict, detail)
        .with("pack_id", pack_id)
        .with("most", most.to_string()))
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
