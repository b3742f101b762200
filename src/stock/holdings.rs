//! What a cast holds or has taken, pack by pack with the codes that stand on the labels.
//!
//! Invariant: before the pour these are the promises as they stand now, after re-picking; afterwards what the ledger says
//! was taken, with the durables that are still in use. Deliberately absent: what a cast needs (see `promises`).

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;

use super::needs::Purpose;
use super::store;
use crate::base::{Error, Quantity};
use crate::db::AnyConnection;

/// A quantity of a pack that a cast holds or has taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holding {
    /// The material.
    pub material_id: i64,
    /// What for.
    pub purpose: Purpose,
    /// The batch, from 1; 0 for what belongs to the whole cast.
    pub batch_no: i32,
    /// The lot.
    pub lot_id: i64,
    /// The supplier's lot code.
    pub lot_code: String,
    /// The kit lot code shared by base and curing agent.
    pub kit_lot: Option<String>,
    /// When the lot expires.
    pub expires_on: Option<NaiveDate>,
    /// The pack.
    pub pack_id: i64,
    /// Its number within the lot, from 1.
    pub pack_no: i32,
    /// When the pack was opened.
    pub opened_on: Option<NaiveDate>,
    /// How much.
    pub quantity: Quantity,
}

/// Pack, purpose and batch, with how much.
type Amounts = BTreeMap<(i64, Purpose, i32), Quantity>;

/// What a cast holds by its promises, in the order of purposes, batches and packs, and what it has taken.
///
/// # Errors
/// [`Error::Internal`] when a movement of the cast names no purpose that this program knows.
pub fn cast_holdings(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<Holding>, Error> {
    let mut amounts = Amounts::new();
    for held in super::promises::cast_holds(conn, cast_id)? {
        let key = (held.pack_id, held.purpose, held.batch_no);
        add(&mut amounts, key, held.quantity)?;
    }
    for row in store::movements_standing(conn, cast_id)? {
        let (Some(pack_id), Some(word)) = (row.pack_id, &row.purpose) else {
            continue;
        };
        if !matches!(row.kind.as_str(), "consumption" | "residue") {
            continue;
        }
        let purpose = Purpose::from_word(word)
            .ok_or_else(|| Error::internal(format!("the purpose `{word}` is unknown")))?;
        let key = (pack_id, purpose, row.batch_no.unwrap_or(0));
        add(&mut amounts, key, row.quantity.checked_neg()?)?;
    }
    let pack_ids: Vec<i64> = amounts.keys().map(|key| key.0).collect();
    let labels: HashMap<i64, store::LabelRow> = store::pack_labels(conn, &pack_ids)?
        .into_iter()
        .map(|label| (label.pack_id, label))
        .collect();
    let mut holdings = Vec::with_capacity(amounts.len());
    for ((pack_id, purpose, batch_no), quantity) in amounts {
        let label = labels
            .get(&pack_id)
            .ok_or_else(|| Error::not_found("pack", pack_id))?;
        holdings.push(Holding {
            material_id: label.material_id,
            purpose,
            batch_no,
            lot_id: label.lot_id,
            lot_code: label.lot_code.clone(),
            kit_lot: label.kit_lot.clone(),
            expires_on: label.expires_on,
            pack_id,
            pack_no: label.no,
            opened_on: label.opened_on,
            quantity,
        });
    }
    holdings.sort_by_key(|holding| (holding.purpose, holding.batch_no, holding.pack_id));
    Ok(holdings)
}

fn add(amounts: &mut Amounts, key: (i64, Purpose, i32), quantity: Quantity) -> Result<(), Error> {
    let sum = amounts.entry(key).or_default();
    *sum = sum.checked_add(quantity)?;
    Ok(())
}
