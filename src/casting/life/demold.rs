//! Demoulding: good chips are counted, rejects are given their reasons, trays come back.

use super::book::kept;
use super::demold_input::{DemoldIn, count};
use super::learning::level_keep;
use super::standing::{Standing, standing};
use super::view::{CastView, cast_show};
use crate::base::Error;
use crate::casting::planning::taught_fill::{check_level, level_of_chip};
use crate::casting::store::{self, Counted};
use crate::db::Tx;
use crate::stock::promises::{cast_holds, promises_release};
use crate::stock::settle::repick_after;

/// Records a demould.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Invalid`] for a count that cannot be; [`Error::Refused`] when the cast
/// is not poured.
pub fn cast_demold(tx: &mut Tx<'_>, code: &str, input: &DemoldIn) -> Result<CastView, Error> {
    let cast = standing(tx, code)?;
    cast.must_be("poured", "demoulded")?;
    crate::stock::load::day_open(tx, "/demolded_on", input.demolded_on)?;
    if let Some(poured) = cast
        .row
        .poured_on
        .filter(|poured| input.demolded_on < *poured)
    {
        return Err(Error::invalid(
            "/demolded_on",
            format!("{} is before the pour on {poured}", input.demolded_on),
        ));
    }
    let mut record = count(input, cast.trays_poured()?, cast.facts.mold.body.chips)?;
    if let Some(thickness_mm) = input.chip_thickness_mm {
        let level_mm = level_of_chip(&cast.facts, thickness_mm)?;
        if let Some(fault) = check_level(&cast.facts, "/chip_thickness_mm", level_mm) {
            return Err(Error::Invalid(vec![fault]));
        }
        let seen = ("demold", level_mm, input.demolded_on);
        (record.fill_factor_taught, record.level_note) =
            level_keep(tx, &cast, &cast.poured()?, seen)?;
    }
    let text = kept(&record)?;
    let counted = Counted {
        on: input.demolded_on,
        good: record.good,
        rejected: record.rejected,
        record: &text,
    };
    store::cast_demold(tx.conn, cast.id, tx.actor, counted)?;
    give_back_durables(tx, &cast)?;
    cast_show(tx.conn, code, tx.base_currency)
}

/// Trays and cups that are used again come back.
fn give_back_durables(tx: &mut Tx<'_>, cast: &Standing) -> Result<(), Error> {
    let held: Vec<i64> = cast_holds(tx.conn, cast.id)?
        .iter()
        .map(|held| held.reservation_id)
        .collect();
    promises_release(tx, &held)?;
    repick_after(tx, &cast.materials)
}
