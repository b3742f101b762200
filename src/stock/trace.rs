//! Tracing: where a lot came from, what of it went where, and what a cast took.
//!
//! Invariant: only what stands counts; a movement that was taken back went nowhere. Deliberately absent: what became of
//! the casts (casting knows), and of the coats that a release agent made.

use std::collections::HashSet;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::ledger::MovementKind;
use super::store::{self, MovementRow};
use crate::base::{Error, Money, Quantity};
use crate::catalogue::codes_by_ids;
use crate::db::AnyConnection;

/// Where a lot came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LotOrigin {
    /// The lot's id.
    pub id: i64,
    /// The material's code.
    pub material: String,
    /// The supplier's lot code.
    pub lot: String,
    /// The code that both parts of a kit share.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kit_lot: Option<String>,
    /// The supplier's code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supplier: Option<String>,
    /// The order that brought it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
    /// The line of that order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_line: Option<String>,
    /// When it was received.
    pub received_on: NaiveDate,
    /// When it expires.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// The grant that paid for it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub funded_by: Option<String>,
}

/// What one movement took from a lot, or brought back to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outflow {
    /// The movement.
    pub movement_id: i64,
    /// The lot.
    pub lot_id: i64,
    /// The pack; none for wear, which belongs to the lot.
    pub pack_id: Option<i64>,
    /// What it stands for.
    pub kind: MovementKind,
    /// The cast, if it was for one.
    pub cast_id: Option<i64>,
    /// The batch of that cast.
    pub batch_no: Option<i32>,
    /// What the cast took it for.
    pub purpose: Option<String>,
    /// The treatment whose vials these are.
    pub treatment_id: Option<i64>,
    /// How much left; negative for what a count found.
    pub quantity: Quantity,
    /// What that was worth.
    pub value: Money,
    /// Why, in words.
    pub reason: String,
    /// The day at the bench.
    pub on: NaiveDate,
}

/// What of a lot is promised to a cast, or in use by it until it is demoulded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outstanding {
    /// The cast.
    pub cast_id: i64,
    /// The pack.
    pub pack_id: i64,
    /// How much.
    pub quantity: Quantity,
}

/// Where lots came from, in the order of their ids.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lot_origins(conn: &mut AnyConnection, lot_ids: &[i64]) -> Result<Vec<LotOrigin>, Error> {
    let rows = store::lot_origins(conn, lot_ids)?;
    let named: Vec<i64> = rows
        .iter()
        .flat_map(|row| [Some(row.material_id), row.supplier_id, row.funded_by_id])
        .flatten()
        .collect();
    let codes = codes_by_ids(conn, &named)?;
    let code = |id: i64| codes.get(&id).map(|(code, _)| code.to_string());
    Ok(rows
        .into_iter()
        .map(|row| LotOrigin {
            id: row.id,
            material: code(row.material_id).unwrap_or_default(),
            lot: row.code,
            kit_lot: row.kit_lot,
            supplier: row.supplier_id.and_then(code),
            order: row.order,
            order_line: row.line_no,
            received_on: row.received_on,
            expires_on: row.expires_on,
            funded_by: row.funded_by_id.and_then(code),
        })
        .collect())
}

/// What left a lot and stands, in the order of recording. Receipts and changes of value alone are left out.
///
/// # Errors
/// [`Error::NotFound`] without such a lot.
pub fn lot_outflow(conn: &mut AnyConnection, lot_id: i64) -> Result<Vec<Outflow>, Error> {
    store::lot_fetch(conn, lot_id)?.ok_or_else(|| Error::not_found("lot", lot_id))?;
    let all = store::movements_of_lot(conn, lot_id, 0, i64::MAX)?;
    let reversed: HashSet<i64> = all.iter().filter_map(|row| row.reverses_id).collect();
    let standing = all
        .into_iter()
        .filter(|row| row.reverses_id.is_none() && !reversed.contains(&row.id))
        .collect();
    outflow(conn, standing)
}

/// What a cast took from the stock and what stands of it, in the order of recording.
///
/// # Errors
/// [`Error::Internal`] when a movement is of a kind that this program does not know.
pub fn cast_outflow(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<Outflow>, Error> {
    let mut standing = store::movements_standing(conn, cast_id)?;
    standing.reverse();
    outflow(conn, standing)
}

/// What of a lot is promised, or in use until a demould.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn lot_outstanding(conn: &mut AnyConnection, lot_id: i64) -> Result<Vec<Outstanding>, Error> {
    Ok(store::promised_of_lot(conn, lot_id)?
        .into_iter()
        .map(|(cast_id, pack_id, quantity)| Outstanding {
            cast_id,
            pack_id,
            quantity,
        })
        .collect())
}

fn outflow(conn: &mut AnyConnection, rows: Vec<MovementRow>) -> Result<Vec<Outflow>, Error> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    let treatments = store::treatments_of_movements(conn, &ids)?;
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let posting = row.posting()?;
        if posting.kind.is_landed_cost() {
            continue;
        }
        found.push(Outflow {
            movement_id: row.id,
            lot_id: posting.lot_id,
            pack_id: posting.pack_id,
            kind: posting.kind,
            cast_id: posting.cast_id,
            batch_no: posting.batch_no,
            purpose: posting.purpose,
            treatment_id: treatments.get(&row.id).copied(),
            quantity: posting.quantity.checked_neg()?,
            value: posting.value.checked_neg()?,
            reason: posting.reason,
            on: posting.effective_on,
        });
    }
    Ok(found)
}
