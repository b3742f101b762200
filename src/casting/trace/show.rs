//! Loading a trace: what left the lot or went into the cast, and the casts and coats that it names.

use std::collections::{BTreeSet, HashMap};

use super::lot::{CastInShort, CoatFacts, LotFacts, lot_trace, uses};
use super::view::{CastTrace, CoatTrace, LotTrace, MaterialTrace, VialTrace};
use crate::base::{Error, Money, kept_read};
use crate::casting::life::demold_input::DemoldRecord;
use crate::casting::planning::request::Charge;
use crate::casting::store::{self, CoatRow, MovedBy};
use crate::catalogue::codes_by_ids;
use crate::db::AnyConnection;
use crate::stock::holdings::cast_holdings;
use crate::stock::trace::{LotOrigin, cast_outflow, lot_origins, lot_outflow, lot_outstanding};

/// Where a lot went, or one pack of it.
///
/// # Errors
/// [`Error::NotFound`] without such a lot, or when the pack is not one of the lot's.
pub fn lot_trace_show(
    conn: &mut AnyConnection,
    lot_id: i64,
    pack_id: Option<i64>,
) -> Result<LotTrace, Error> {
    let mut outflow = lot_outflow(conn, lot_id)?;
    let mut outstanding = lot_outstanding(conn, lot_id)?;
    if let Some(pack_id) = pack_id {
        let place = crate::stock::promises::pack_place(conn, pack_id)?;
        if place.lot_id != lot_id {
            return Err(Error::not_found("pack of this lot", pack_id));
        }
        outflow.retain(|flow| flow.pack_id == Some(pack_id));
        outstanding.retain(|promised| promised.pack_id == pack_id);
    }
    let treatments: BTreeSet<i64> = outflow
        .iter()
        .filter_map(|flow| flow.treatment_id)
        .collect();
    let coats = coats(conn, &treatments.into_iter().collect::<Vec<i64>>())?;
    let casts: BTreeSet<i64> = outflow
        .iter()
        .filter_map(|flow| flow.cast_id)
        .chain(outstanding.iter().map(|promised| promised.cast_id))
        .chain(coats.iter().flat_map(|coat| coat.casts.iter().copied()))
        .collect();
    let casts = casts_in_short(conn, &casts.into_iter().collect::<Vec<i64>>())?;
    let lot = lot_origins(conn, &[lot_id])?
        .pop()
        .ok_or_else(|| Error::not_found("lot", lot_id))?;
    lot_trace(LotFacts {
        lot,
        pack_id,
        outflow,
        outstanding,
        coats,
        casts,
    })
}

/// The codes of casts by their ids.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn cast_codes(conn: &mut AnyConnection, ids: &[i64]) -> Result<HashMap<i64, String>, Error> {
    store::cast_codes(conn, ids)
}

/// The coats of treatments, with the casts that drew on them.
fn coats(conn: &mut AnyConnection, treatments: &[i64]) -> Result<Vec<CoatFacts>, Error> {
    let days: HashMap<i64, chrono::NaiveDate> = store::treatment_days(conn, treatments)?
        .into_iter()
        .collect();
    let rows = store::coats_of_treatments(conn, treatments)?;
    let pools: Vec<i64> = rows.iter().map(|(coat, _)| coat.id).collect();
    let draws = store::draws_on(conn, &pools)?;
    let mut found = Vec::with_capacity(rows.len());
    for (coat, mold) in rows {
        let Some((treatment_id, treated_on)) =
            coat.treatment_id.and_then(|id| Some((id, *days.get(&id)?)))
        else {
            continue;
        };
        let mut casts: Vec<i64> = draws
            .iter()
            .filter(|draw| draw.pool_id == coat.id)
            .map(|draw| draw.cast_id)
            .collect();
        casts.dedup();
        found.push(CoatFacts {
            treatment_id,
            treated_on,
            mold,
            copy: copy_of(&coat),
            casts,
        });
    }
    Ok(found)
}

fn copy_of(coat: &CoatRow) -> u32 {
    coat.copy_no
        .and_then(|no| u32::try_from(no).ok())
        .unwrap_or(1)
}

/// Casts in short, in the order of booking.
fn casts_in_short(conn: &mut AnyConnection, ids: &[i64]) -> Result<Vec<CastInShort>, Error> {
    let rows = store::casts_traced(conn, ids)?;
    let named: Vec<i64> = rows
        .iter()
        .flat_map(|row| [row.recipe_id, row.mold_id])
        .collect();
    let codes = codes_by_ids(conn, &named)?;
    let code = |id: i64| {
        codes
            .get(&id)
            .map(|(code, _)| code.to_string())
            .unwrap_or_default()
    };
    let mut charges = store::charges_by_cast(conn, ids)?;
    rows.into_iter()
        .map(|row| {
            let demold: Option<DemoldRecord> = row
                .demold
                .as_deref()
                .map(kept_read)
                .transpose()
                .map_err(Error::internal)?;
            Ok(CastInShort {
                recipe: code(row.recipe_id),
                mold: code(row.mold_id),
                rejects: demold.map(|demold| demold.rejects).unwrap_or_default(),
                charges: charges
                    .remove(&row.id)
                    .unwrap_or_default()
                    .into_iter()
                    .map(|(_, grant, share)| Charge { grant, share })
                    .collect(),
                id: row.id,
                code: row.code,
                state: row.state,
                cast_on: row.cast_on,
                poured_on: row.poured_on,
                demolded_on: row.demolded_on,
                good_chips: row.good_chips,
                rejected_chips: row.rejected_chips,
            })
        })
        .collect()
}

/// What went into a cast, or what it counts on before its pour.
///
/// # Errors
/// [`Error::NotFound`] without such a cast.
pub fn cast_trace_show(conn: &mut AnyConnection, code: &str) -> Result<CastTrace, Error> {
    let missing = || Error::not_found("cast", code);
    let id = store::cast_by_code(conn, code)?.ok_or_else(missing)?.id;
    let cast = casts_in_short(conn, &[id])?.pop().ok_or_else(missing)?;
    let taken = cast.poured_on.is_some();
    let materials = if taken {
        materials_taken(conn, id)?
    } else {
        materials_promised(conn, id)?
    };
    Ok(CastTrace {
        basis: if taken { "taken" } else { "promised" },
        mixed_kits: mixed_kits(&materials),
        coats: coats_stood_on(conn, id)?,
        materials,
        cast: cast.code,
        state: cast.state,
        recipe: cast.recipe,
        mold: cast.mold,
        cast_on: cast.cast_on,
        poured_on: cast.poured_on,
        demolded_on: cast.demolded_on,
        good_chips: cast.good_chips,
        rejected_chips: cast.rejected_chips,
        rejects: cast.rejects,
        charges: cast.charges,
    })
}

fn origins(
    conn: &mut AnyConnection,
    lot_ids: impl Iterator<Item = i64>,
) -> Result<HashMap<i64, LotOrigin>, Error> {
    let ids: BTreeSet<i64> = lot_ids.collect();
    let lots = lot_origins(conn, &ids.into_iter().collect::<Vec<i64>>())?;
    Ok(lots.into_iter().map(|lot| (lot.id, lot)).collect())
}

fn origin(origins: &HashMap<i64, LotOrigin>, lot_id: i64) -> Result<LotOrigin, Error> {
    origins
        .get(&lot_id)
        .cloned()
        .ok_or_else(|| Error::not_found("lot", lot_id))
}

fn materials_taken(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<MaterialTrace>, Error> {
    let flows = cast_outflow(conn, cast_id)?;
    let lots: BTreeSet<i64> = flows.iter().map(|flow| flow.lot_id).collect();
    let origins = origins(conn, lots.iter().copied())?;
    let mut materials = Vec::new();
    for lot_id in lots {
        for used in uses(flows.iter().filter(|flow| flow.lot_id == lot_id))? {
            materials.push(MaterialTrace {
                purpose: used.purpose,
                batch_no: used.batch_no,
                pack_id: used.pack_id,
                quantity: used.quantity,
                value: Some(used.value),
                lot: origin(&origins, lot_id)?,
            });
        }
    }
    Ok(materials)
}

fn materials_promised(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<MaterialTrace>, Error> {
    let holdings = cast_holdings(conn, cast_id)?;
    let origins = origins(conn, holdings.iter().map(|holding| holding.lot_id))?;
    holdings
        .into_iter()
        .map(|holding| {
            Ok(MaterialTrace {
                purpose: holding.purpose.as_str().to_owned(),
                batch_no: (holding.batch_no > 0).then_some(holding.batch_no),
                pack_id: Some(holding.pack_id),
                quantity: holding.quantity,
                value: None,
                lot: origin(&origins, holding.lot_id)?,
            })
        })
        .collect()
}

/// Whether the parts of any batch are of more than one kit lot.
fn mixed_kits(materials: &[MaterialTrace]) -> bool {
    let parts = || {
        materials
            .iter()
            .filter(|part| matches!(part.purpose.as_str(), "base" | "curing_agent"))
    };
    parts().any(|one| {
        parts().any(|other| one.batch_no == other.batch_no && one.lot.kit_lot != other.lot.kit_lot)
    })
}

/// The coats that a cast drew on, with the vials they were made of.
fn coats_stood_on(conn: &mut AnyConnection, cast_id: i64) -> Result<Vec<CoatTrace>, Error> {
    let draws = store::pool_movements_standing(conn, MovedBy::Cast(cast_id))?;
    let pools: Vec<i64> = draws.iter().map(|draw| draw.pool_id).collect();
    let coats = store::coats_among(conn, &pools)?;
    let treatments: Vec<i64> = coats
        .iter()
        .filter_map(|(coat, _)| coat.treatment_id)
        .collect();
    let days: HashMap<i64, chrono::NaiveDate> = store::treatment_days(conn, &treatments)?
        .into_iter()
        .collect();
    let vials = store::vials_of_treatments(conn, &treatments)?;
    let origins = origins(conn, vials.iter().map(|vial| vial.lot_id))?;
    coats
        .into_iter()
        .map(|(coat, mold)| {
            let drawn = draws.iter().filter(|draw| draw.pool_id == coat.id);
            Ok(CoatTrace {
                value: Money::checked_sum(drawn.map(|draw| draw.value))?.checked_neg()?,
                treated_on: coat.treatment_id.and_then(|id| days.get(&id).copied()),
                vials: vials
                    .iter()
                    .filter(|vial| Some(vial.treatment_id) == coat.treatment_id)
                    .map(|vial| {
                        Ok(VialTrace {
                            pack_id: vial.pack_id,
                            quantity: vial.quantity,
                            lot: origin(&origins, vial.lot_id)?,
                        })
                    })
                    .collect::<Result<_, Error>>()?,
                treatment: coat.treatment_id,
                copy: copy_of(&coat),
                mold,
            })
        })
        .collect()
}
