//! The bench sheet of a cast, loaded and built.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::build::{SheetFacts, hazards, lay_out, materials, other_cautions, planned_loads};
use super::clock::{Anchors, Mixing};
use super::drawing::lot;
use super::sheet::{BenchSheet, Recorded, TakenLot};
use crate::base::{Error, RefusalKind, kept_read};
use crate::casting::life::view::{CastView, cast_show};
use crate::casting::planning::coats_ahead::all_turns;
use crate::casting::planning::plan_view::LoadView;
use crate::casting::planning::sizing::rounded;
use crate::casting::store;
use crate::casting::sums::cautions::DEFERRAL;
use crate::catalogue::RecipeFacts;
use crate::db::{AnyConnection, House};
use crate::stock::holdings::{Holding, cast_holdings};
use crate::stock::promises::cast_needs;

/// What is said of the clock.
#[derive(Debug, Clone, Default)]
pub struct Clocked {
    /// When the work begins.
    pub start_at: Option<DateTime<Utc>>,
    /// Batches, from 1, with the instant at which their mixing ended.
    pub mixed: Vec<(i32, DateTime<Utc>)>,
}

/// The bench sheet of a cast; none when a batch was mixed that the cast does not have.
///
/// # Errors
/// [`Error::NotFound`] without such a cast; [`Error::Refused`] when it was cancelled: nothing of it is to be done, and it
/// holds nothing.
pub fn sheet_show(
    conn: &mut AnyConnection,
    code: &str,
    clocked: &Clocked,
    house: House,
) -> Result<Option<BenchSheet>, Error> {
    let cast = cast_show(conn, code, house.base_currency)?;
    if cast.state == "cancelled" {
        let detail =
            format!("cast {code} was cancelled: it has no work left to be done at the bench");
        return Err(Error::refused(RefusalKind::WrongState, detail).with("state", cast.state));
    }
    let missing = || Error::not_found("cast", code);
    let row = store::cast_by_code(conn, code)?.ok_or_else(missing)?;
    let facts: RecipeFacts = kept_read(&row.facts).map_err(Error::internal)?;
    let holdings = cast_holdings(conn, cast.id)?;
    let needs = cast_needs(conn, cast.id)?;
    let codes: BTreeMap<i64, String> = materials(&facts)
        .into_iter()
        .map(|entry| (entry.id, entry.code.to_string()))
        .collect();
    let of = SheetFacts {
        request: &cast.request,
        facts: &facts,
        plan: &cast.plan,
        holdings: &holdings,
        needs: &needs,
        loads: match cast.state.as_str() {
            "booked" => loads_now(conn, cast.id, &facts)?,
            _ => planned_loads(&cast.plan),
        },
        booked: cast.state == "booked",
    };
    let laid = lay_out(&of, &codes)?;
    let mixings = clocked.mixed.iter().map(|&(batch, at)| {
        let minute = *laid.mixed_min.get(&batch)?;
        Some(Mixing { batch, at, minute })
    });
    let Some(mixed) = mixings.collect() else {
        return Ok(None);
    };
    let anchors = Anchors {
        start_at: clocked.start_at,
        mixed,
    };
    Ok(Some(BenchSheet {
        recipe: cast.recipe.clone(),
        recipe_name: facts.recipe.name.clone(),
        elastomer: facts.elastomer.code.to_string(),
        mold: facts.mold.code.to_string(),
        cast_on: cast.cast_on,
        containers: cast.plan.containers,
        chips: cast.plan.chips,
        rounds: cast.plan.rounds,
        heat_override_reason: cast.request.heat_override_reason.clone(),
        cautions: other_cautions(&of)?,
        hazards: hazards(&facts),
        start_at: clocked.start_at,
        mixed_at: clocked.mixed.first().map(|(_, at)| *at),
        total_min: rounded(laid.total_min)?,
        steps: laid.timed(&anchors)?,
        recorded: recorded(&cast, &holdings, &codes),
        closing: DEFERRAL.to_owned(),
        short: cast.short,
        state: cast.state,
        cast: cast.code,
    }))
}

/// The coatings of a booked cast by the coats as they are now, after the casts of its mould that come before it.
fn loads_now(
    conn: &mut AnyConnection,
    cast_id: i64,
    facts: &RecipeFacts,
) -> Result<Vec<LoadView>, Error> {
    let turns = all_turns(conn, facts.mold.id)?;
    let own = turns.into_iter().find(|turn| turn.cast_id == cast_id);
    let own = own.ok_or_else(|| Error::internal("a booked cast is not on its mould"))?;
    let loads = own.need.iter().flat_map(|need| &need.loads);
    Ok(loads.map(LoadView::of).collect())
}

/// What was recorded of a cast that is poured.
fn recorded(
    cast: &CastView,
    holdings: &[Holding],
    codes: &BTreeMap<i64, String>,
) -> Option<Recorded> {
    Some(Recorded {
        poured_on: cast.poured_on,
        poured_by: cast.poured_by.clone(),
        pour: cast.pour.clone()?,
        taken: holdings
            .iter()
            .map(|holding| TakenLot {
                purpose: holding.purpose,
                batch: holding.batch_no,
                lot: lot(holding, codes, holding.quantity),
            })
            .collect(),
        demolded_on: cast.demolded_on,
        demold: cast.demold.clone(),
    })
}
