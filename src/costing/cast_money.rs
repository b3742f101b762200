//! Who pays for casts and what they cost, read for many casts at once.
//!
//! Invariant: what is handed out belongs to the cast that is asked for; casts are asked for in the order of their ids.

use std::iter::Peekable;
use std::vec::IntoIter;

use super::store;
use crate::base::{Error, Micro};
use crate::casting::cost::Components;
use crate::db::AnyConnection;

/// A grant with its share of a cast.
type Share = (i64, Micro);
/// What a cast cost a grant, or everybody together.
type Cost = (Option<i64>, Components);

/// Who pays for casts and what they cost, read for a range of casts at once and handed out in the order of their ids.
pub(super) struct CastMoney {
    charges: Peekable<IntoIter<(i64, Share)>>,
    costs: Peekable<IntoIter<(i64, Cost)>>,
}

impl CastMoney {
    /// Reads it for the casts from the first id to the last; grant by grant, or all grants together and nobody's share.
    pub(super) fn read(
        conn: &mut AnyConnection,
        ids: (i64, i64),
        by_grant: bool,
    ) -> Result<Self, Error> {
        let (charges, costs) = if by_grant {
            let charges = store::charges_between(conn, ids)?;
            (charges, store::costs_by_cast_and_grant(conn, ids)?)
        } else {
            (Vec::new(), store::costs_by_cast(conn, ids)?)
        };
        let charges = charges.into_iter();
        let charges: Vec<(i64, Share)> = charges
            .map(|(cast, grant, share)| (cast, (grant, share)))
            .collect();
        let costs = costs.into_iter();
        let costs: Vec<(i64, Cost)> = costs
            .map(|(cast, grant, amounts)| (cast, (grant, amounts)))
            .collect();
        Ok(Self {
            charges: charges.into_iter().peekable(),
            costs: costs.into_iter().peekable(),
        })
    }

    /// The shares and the costs of the next cast; those of earlier casts are passed over.
    pub(super) fn of(&mut self, cast_id: i64) -> (Vec<Share>, Vec<Cost>) {
        let charges = of_cast(&mut self.charges, cast_id);
        (charges, of_cast(&mut self.costs, cast_id))
    }
}

/// The next rows that are a cast's, from rows in the order of casts; rows of earlier casts are passed over.
fn of_cast<T>(rows: &mut Peekable<impl Iterator<Item = (i64, T)>>, cast_id: i64) -> Vec<T> {
    let mut found = Vec::new();
    while let Some((of, row)) = rows.next_if(|(of, _)| *of <= cast_id) {
        if of == cast_id {
            found.push(row);
        }
    }
    found
}
