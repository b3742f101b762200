//! Receiving: a purchase line becomes a lot with its packs.

use chrono::NaiveDate;

use super::ledger::MovementKind;
use super::load::day_open;
use super::post::{Occasion, Poster, posting};
use super::settle::{lock_reach, repick_after};
use super::store::{self, NewLot, NewPack};
use crate::base::{Error, Money, Quantity, apportion};
use crate::db::Tx;

/// What arrived.
#[derive(Debug, Clone)]
pub struct Receipt<'a> {
    /// The material.
    pub material_id: i64,
    /// The supplier's lot code.
    pub lot_code: &'a str,
    /// The code that base and curing agent of a kit share.
    pub kit_lot: Option<&'a str>,
    /// The kit it is a part of.
    pub kit_id: Option<i64>,
    /// The supplier.
    pub supplier_id: Option<i64>,
    /// The purchase line.
    pub order_line_id: Option<i64>,
    /// The grant that paid for it.
    pub funded_by_id: Option<i64>,
    /// When it arrived.
    pub received_on: NaiveDate,
    /// When it expires.
    pub expires_on: Option<NaiveDate>,
    /// What each pack holds; at least one pack, each more than 0.
    pub packs: &'a [Quantity],
    /// What it cost in the base currency, freight, duty and fees included.
    pub landed_cost: Money,
}

/// Takes a delivery into stock and serves the casts that were short of it. Returns the new lots' ids, one per receipt.
///
/// # Errors
/// [`Error::Invalid`] for a day in the future, a landed cost below 0 or a pack with nothing in it; [`Error::Refused`] for a
/// closed period.
pub fn lots_receive(tx: &mut Tx<'_>, receipts: &[Receipt<'_>]) -> Result<Vec<i64>, Error> {
    lots_receive_watched(tx, receipts, &mut |_| {})
}

/// As [`lots_receive`], and tells `watch` after each lot how many there are.
///
/// # Errors
/// As [`lots_receive`].
pub fn lots_receive_watched(
    tx: &mut Tx<'_>,
    receipts: &[Receipt<'_>],
    watch: &mut dyn FnMut(u64),
) -> Result<Vec<i64>, Error> {
    let mut materials: Vec<i64> = receipts.iter().map(|receipt| receipt.material_id).collect();
    materials.sort_unstable();
    materials.dedup();
    lock_reach(tx, &materials)?;
    let mut poster = Poster::new();
    let mut lots = Vec::with_capacity(receipts.len());
    for receipt in receipts {
        lots.push(lot_receive(tx, &mut poster, receipt)?);
        watch(lots.len() as u64);
    }
    repick_after(tx, &materials)?;
    Ok(lots)
}

fn lot_receive(tx: &mut Tx<'_>, poster: &mut Poster, receipt: &Receipt<'_>) -> Result<i64, Error> {
    day_open(tx, "/received_on", receipt.received_on)?;
    if receipt.landed_cost < Money::ZERO {
        return Err(Error::invalid(
            "/line_price",
            format!("a landed cost of {} is below 0", receipt.landed_cost),
        ));
    }
    if receipt.packs.is_empty() || receipt.packs.iter().any(|pack| !pack.is_positive()) {
        return Err(Error::invalid(
            "/packs",
            "a delivery has at least one pack, and each holds more than 0",
        ));
    }
    let lot = NewLot {
        material_id: receipt.material_id,
        order_line_id: receipt.order_line_id,
        code: receipt.lot_code,
        kit_lot: receipt.kit_lot,
        kit_id: receipt.kit_id,
        supplier_id: receipt.supplier_id,
        funded_by_id: receipt.funded_by_id,
        received_on: receipt.received_on,
        expires_on: receipt.expires_on,
    };
    let lot_id = store::lot_insert(tx.conn, &lot)?;
    let weights: Vec<i64> = receipt
        .packs
        .iter()
        .map(|quantity| quantity.micro())
        .collect();
    let values = apportion(receipt.landed_cost.micro(), &weights)?;
    let occasion = Occasion {
        effective_on: receipt.received_on,
        ..Occasion::default()
    };
    for (index, (quantity, value)) in receipt.packs.iter().zip(values).enumerate() {
        let no = i32::try_from(index + 1)
            .map_err(|_| Error::invalid("/packs", "more packs than can be numbered"))?;
        let pack_id = store::pack_insert(
            tx.conn,
            &NewPack {
                lot_id,
                no,
                received: *quantity,
            },
        )?;
        let change = (*quantity, Money::from_micro(value));
        poster.post(
            tx,
            &posting(
                (lot_id, Some(pack_id)),
                MovementKind::Receipt,
                change,
                tx.actor,
                &occasion,
            ),
        )?;
    }
    Ok(lot_id)
}
