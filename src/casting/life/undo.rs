//! Cancelling a booked cast, and undoing the last step of one that went further.

use serde::Deserialize;
use utoipa::ToSchema;

use super::coat_needs::coat_needs_renew;
use super::coating::pour_coats_undo;
use super::standing::{Standing, standing};
use super::view::{CastView, cast_show};
use crate::base::{Error, RefusalKind, short_words};
use crate::casting::store;
use crate::db::Tx;
use crate::stock::load::shelf;
use crate::stock::price_shares::cast_shares_return;
use crate::stock::promises::{
    cast_holds, cast_movements_reverse, cast_needs, cast_repromise, pack_used, promises_release,
};
use crate::stock::repicking::Promise;
use crate::stock::settle::repick_after;
use crate::stock::warnings::{Subject, warning_clear};

/// Why a step is undone.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UndoIn {
    /// Why, in words; stands on the reversing movements.
    #[serde(default)]
    #[schema(max_length = 200, pattern = r"^[^\x00-\x1f\x7f-\x9f]*$")]
    pub reason: String,
}

/// Cancels a booked cast: what was promised to it is free again.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Refused`] when it is not booked.
pub fn cast_cancel(tx: &mut Tx<'_>, code: &str) -> Result<CastView, Error> {
    let cast = standing(tx, code)?;
    cast.must_be("booked", "cancelled")?;
    let now = tx.stored_now();
    store::cast_cancel(tx.conn, cast.id, now)?;
    release_all(tx, &cast)?;
    warning_clear(
        tx,
        &Subject {
            kind: "cast_short",
            noun: "cast",
            code,
        },
    )?;
    coat_needs_renew(tx, cast.facts.mold.id, &cast.materials)?;
    repick_after(tx, &cast.materials)?;
    cast_show(tx.conn, code, tx.base_currency)
}

fn release_all(tx: &mut Tx<'_>, cast: &Standing) -> Result<(), Error> {
    let held: Vec<i64> = cast_holds(tx.conn, cast.id)?
        .iter()
        .map(|held| held.reservation_id)
        .collect();
    promises_release(tx, &held)
}

/// Takes back a cast's last step, the demould or the pour, with all its movements and what it taught.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Invalid`] for a reason too long; [`Error::Refused`] when there is no
/// step to take back, or what it took has since been used otherwise.
pub fn cast_undo(tx: &mut Tx<'_>, code: &str, input: &UndoIn) -> Result<CastView, Error> {
    let reason = short_words("/reason", "a reason", &input.reason)?;
    let cast = standing(tx, code)?;
    match cast.state.as_str() {
        "demolded" => undo_demold(tx, &cast)?,
        "poured" => undo_pour(tx, &cast, &reason)?,
        state => {
            let detail = format!("cast {code} is {state}: there is no step to take back");
            return Err(Error::refused(RefusalKind::WrongState, detail).with("state", state));
        }
    }
    cast_show(tx.conn, code, tx.base_currency)
}

fn open_day(tx: &mut Tx<'_>, day: Option<chrono::NaiveDate>) -> Result<(), Error> {
    day.map_or(Ok(()), |day| crate::stock::load::day_open(tx, "", day))
}

/// The chips are uncounted, and trays that are used again are in use again as far as they are free.
fn undo_demold(tx: &mut Tx<'_>, cast: &Standing) -> Result<(), Error> {
    open_day(tx, cast.row.demolded_on)?;
    store::cast_demold_undo(tx.conn, cast.id)?;
    let now = tx.stored_now();
    store::levels_withdraw(tx.conn, (cast.id, "demold"), now)?;
    let mut shelf = shelf(tx.conn, &cast.materials)?;
    let needs = cast_needs(tx.conn, cast.id)?;
    let mut promises = Vec::new();
    for need in needs.iter().filter(|need| cast.is_durable(need.purpose)) {
        for used in cast.pour()?.durable_uses {
            let Some(pack) = shelf
                .iter_mut()
                .find(|pack| pack.pack_id == used.pack_id && pack.material_id == need.material_id)
            else {
                continue;
            };
            let pieces = i32::try_from(used.uses)
                .map(crate::base::Quantity::from_int)
                .map_err(Error::internal)?;
            let quantity = pieces.min(pack.free());
            if quantity > crate::base::Quantity::ZERO {
                promises.push(Promise {
                    cast_id: cast.id,
                    pack_id: pack.pack_id,
                    purpose: need.purpose,
                    batch_no: need.batch_no,
                    quantity,
                });
            }
        }
    }
    cast_repromise(tx, &promises)
}

/// Every movement of the pour is reversed, what it taught is withdrawn, and the cast is promised its stock again.
fn undo_pour(tx: &mut Tx<'_>, cast: &Standing, reason: &str) -> Result<(), Error> {
    open_day(tx, cast.row.poured_on)?;
    let record = cast.pour()?;
    let now = tx.stored_now();
    release_all(tx, cast)?;
    let reason = match reason {
        "" => "undo of the pour",
        reason => reason,
    };
    cast_movements_reverse(tx, cast.id, reason)?;
    cast_shares_return(tx, cast.id, reason)?;
    pour_coats_undo(tx, cast, reason, cast.row.poured_on.unwrap_or(tx.today))?;
    for used in &record.durable_uses {
        pack_used(tx, used.pack_id, None, -used.uses)?;
    }
    store::observations_withdraw(tx.conn, cast.id, now)?;
    store::levels_withdraw(tx.conn, (cast.id, "pour"), now)?;
    store::cast_costs_delete(tx.conn, cast.id)?;
    store::cast_pour_undo(tx.conn, cast.id)?;
    coat_needs_renew(tx, cast.facts.mold.id, &cast.materials)?;
    repick_after(tx, &cast.materials)
}
