//! Price corrections as they reach the books: a lot's value is changed by what falls on its rest; what falls on what was
//! used or lost is kept as a share of its own, since movements are never changed.
//!
//! Invariants: the shares of a correction add up to it; a share on the stock is a revaluation of the same value; when a
//! cast's pour is taken back, what it bore of a correction goes with the material back into the lot. Deliberately
//! absent: who bears how much (costing decides).

use std::collections::HashMap;

use chrono::NaiveDate;

use super::ledger::MovementKind;
use super::post::{Occasion, Poster, posting};
use super::store;
use crate::base::{Error, Money, Quantity};
use crate::db::Tx;

/// Who bears a share of a correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Borne {
    /// What is left of the lot.
    Stock,
    /// A cast, and who was charged for it; neither for what is still on coats.
    Variance {
        /// The cast.
        cast_id: Option<i64>,
        /// Who was charged; none when nobody was.
        grant_id: Option<i64>,
    },
    /// What had been lost.
    Waste,
}

/// A share to be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NewShare {
    /// The correction.
    pub correction_id: i64,
    /// The lot.
    pub lot_id: i64,
    /// Who bears it.
    pub borne: Borne,
    /// How much; not 0.
    pub amount: Money,
    /// The day.
    pub on: NaiveDate,
}

/// Keeps a share; one on the stock changes the lot's value.
///
/// # Errors
/// [`Error::Internal`] when the lot would be worth less than nothing.
pub fn share_post(
    tx: &mut Tx<'_>,
    poster: &mut Poster,
    share: &NewShare,
    reason: &str,
) -> Result<(), Error> {
    let movement_id = if share.borne == Borne::Stock {
        let occasion = Occasion {
            effective_on: share.on,
            reason: reason.to_owned(),
            ..Occasion::default()
        };
        let change = (Quantity::ZERO, share.amount);
        let revaluation = posting(
            (share.lot_id, None),
            MovementKind::Revaluation,
            change,
            tx.actor,
            &occasion,
        );
        Some(poster.post(tx, &revaluation)?.id)
    } else {
        None
    };
    store::share_insert(tx.conn, share, movement_id)
}

/// Puts what a cast bore of corrections back where its material went when its pour was taken back: onto the lots, or, for
/// vials whose coats stay on the moulds, onto the coats. Call it after the cast's movements were taken back.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_shares_return(tx: &mut Tx<'_>, cast_id: i64, reason: &str) -> Result<(), Error> {
    let mut borne: HashMap<(i64, i64, Option<i64>, bool), Money> = HashMap::new();
    for row in store::shares_of_cast(tx.conn, cast_id)? {
        let place = (row.correction_id, row.lot_id, row.grant_id, row.on_coats);
        let sum = borne.entry(place).or_default();
        *sum = sum.checked_add(row.amount)?;
    }
    let mut borne: Vec<_> = borne
        .into_iter()
        .filter(|(_, sum)| !sum.is_zero())
        .collect();
    borne.sort_unstable();
    let mut poster = Poster::new();
    for ((correction_id, lot_id, grant_id, on_coats), amount) in borne {
        let back = if on_coats {
            Borne::Variance {
                cast_id: None,
                grant_id: None,
            }
        } else {
            Borne::Stock
        };
        let from = Borne::Variance {
            cast_id: Some(cast_id),
            grant_id,
        };
        for (borne, amount) in [(from, amount.checked_neg()?), (back, amount)] {
            let share = NewShare {
                correction_id,
                lot_id,
                borne,
                amount,
                on: tx.today,
            };
            share_post(tx, &mut poster, &share, reason)?;
        }
    }
    Ok(())
}
