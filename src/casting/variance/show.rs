//! Loading what the cost of a cast is explained by: the cast as it is kept, and what it took from the stock.

use std::collections::BTreeSet;

use super::used::CastDone;
use super::view::CastCost;
use crate::base::{Currency, Error, Quantity};
use crate::casting::life::view::cast_show;
use crate::db::AnyConnection;
use crate::stock::needs::Purpose;
use crate::stock::trace::{cast_outflow, lot_origins};

/// The cost of a cast, beside what was planned.
///
/// # Errors
/// [`Error::NotFound`] without such a cast.
pub fn cast_cost(
    conn: &mut AnyConnection,
    code: &str,
    currency: Currency,
) -> Result<CastCost, Error> {
    let cast = cast_show(conn, code, currency)?;
    let (Some(actual), Some(pour)) = (cast.cost_actual, cast.pour) else {
        return Ok(CastCost::planned(cast.cost_planned));
    };
    let (tape, lots) = taken(conn, cast.id)?;
    let done = CastDone {
        plan: &cast.plan,
        batches: &pour.batches,
        containers: pour.containers_poured,
        vials: pour.coats_renewed.iter().map(|load| load.vials).sum(),
        tape,
        lots,
    };
    CastCost::actual(&done, actual, cast.demold.as_ref())
}

/// The tape that a cast took, in m, and the lots that it took from, by what for.
fn taken(
    conn: &mut AnyConnection,
    cast_id: i64,
) -> Result<(Quantity, Vec<(Purpose, String)>), Error> {
    let (mut tape, mut lots) = (Quantity::ZERO, BTreeSet::new());
    for flow in cast_outflow(conn, cast_id)? {
        let Some(purpose) = flow.purpose.as_deref().and_then(Purpose::from_word) else {
            continue;
        };
        if purpose == Purpose::Tape {
            tape = tape.checked_add(flow.quantity)?;
        }
        lots.insert((purpose, flow.lot_id));
    }
    let ids: BTreeSet<i64> = lots.iter().map(|(_, id)| *id).collect();
    let origins = lot_origins(conn, &ids.into_iter().collect::<Vec<i64>>())?;
    let named = lots.into_iter().filter_map(|(purpose, id)| {
        let lot = origins.iter().find(|lot| lot.id == id)?;
        Some((purpose, lot.lot.clone()))
    });
    Ok((tape, named.collect()))
}
