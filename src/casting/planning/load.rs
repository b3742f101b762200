//! Loading: from the books to the facts a plan is made of.

use std::collections::{BTreeMap, BTreeSet};

use super::charging_load::charged_grants;
use super::coats_ahead::coats_on;
use super::day_load::day_facts;
use super::plan::{OnOrder, PlanFacts};
use super::request::PlanRequest;
use super::sizing::Experience;
use super::taught_fill::{ObservedLevel, taught_factor};
use crate::base::{Error, Quantity, RefusalKind};
use crate::casting::store;
use crate::casting::sums::learned::{FactorPosterior, Noise};
use crate::casting::sums::pool::PoolState;
use crate::casting::sums::yields::{ChipCount, YieldPosterior};
use crate::catalogue::{RecipeFacts, recipe_facts};
use crate::db::{AnyConnection, House};
use crate::stock;
use crate::stock::load::shelf;

/// The recipe of a request with all it names.
///
/// # Errors
/// [`Error::Invalid`] when there is no such recipe, [`Error::Refused`] when it is retired.
pub(in crate::casting) fn recipe(
    conn: &mut AnyConnection,
    request: &PlanRequest,
) -> Result<RecipeFacts, Error> {
    let facts =
        recipe_facts(conn, request.recipe.as_str()).map_err(|error| unknown("/recipe", error))?;
    if facts.recipe.retired {
        let detail = format!(
            "recipe `{}` is retired: plan with one that is in use",
            request.recipe.as_str()
        );
        return Err(Error::refused(RefusalKind::Retired, detail));
    }
    Ok(facts)
}

/// A code in a body that names nothing is a wrong value there, not a missing resource.
pub(in crate::casting) fn unknown(pointer: &str, error: Error) -> Error {
    match error {
        Error::NotFound { noun, key } => {
            Error::invalid(pointer, format!("there is no {noun} `{key}`"))
        }
        other => other,
    }
}

/// The materials that a recipe's casts may need, in the order of ids.
#[must_use]
pub(in crate::casting) fn materials(facts: &RecipeFacts) -> Vec<i64> {
    let named = [
        &facts.base,
        &facts.curing_agent,
        &facts.container,
        &facts.cup,
    ];
    let mut ids: BTreeSet<i64> = named.into_iter().map(|entry| entry.id).collect();
    ids.extend(
        facts
            .tape
            .iter()
            .chain(&facts.release_agent)
            .map(|entry| entry.id),
    );
    ids.extend(facts.extras.iter().map(|(entry, _)| entry.id));
    ids.into_iter().collect()
}

/// Everything a plan is made of. Under a booking's locks, read after they are taken. `replanned` is the booked cast that is
/// planned again, if it is one; its promises must be released by then.
///
/// # Errors
/// [`Error::Invalid`] or [`Error::Refused`] for what the request names.
pub(in crate::casting) fn plan_facts(
    conn: &mut AnyConnection,
    recipe: RecipeFacts,
    request: &PlanRequest,
    house: House,
    replanned: Option<i64>,
) -> Result<PlanFacts, Error> {
    let materials = materials(&recipe);
    let grants = charged_grants(conn, &request.charges, replanned)?;
    let mut shelf = shelf(conn, &materials)?;
    let mut later_holders: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    for (pack_id, material_id, code, quantity) in
        store::promised_after(conn, &materials, request.cast_on)?
    {
        let holders = later_holders.entry(material_id).or_default();
        if !holders.contains(&code) {
            holders.push(code);
        }
        if let Some(pack) = shelf
            .iter_mut()
            .find(|pack| request.take_from_later && pack.pack_id == pack_id)
        {
            pack.reserved =
                Quantity::from_micro(pack.reserved.micro().saturating_sub(quantity.micro()));
        }
    }
    let pool = |row: Option<store::PoolRow>| {
        row.map_or_else(PoolState::default, |row| PoolState {
            value: row.value,
            uses: row.uses,
        })
    };
    let mold_pool = pool(store::mold_pool(conn, recipe.mold.id)?);
    let experience = Experience {
        residue: posterior(conn, &recipe)?,
        fill_factors: fill_factors(conn, &recipe)?,
        coats: coats_on(conn, &recipe, (request.cast_on, replanned), &shelf)?,
    };
    let day = day_facts(conn, request.cast_on, house.working_day_min)?;
    Ok(PlanFacts {
        experience,
        yields: yields(conn, recipe.recipe.id)?,
        shelf,
        grants,
        mold_pool,
        on_order: on_order(conn, &materials)?,
        later_holders,
        currency: house.base_currency,
        day: match replanned {
            Some(cast_id) => day.without(cast_id),
            None => day,
        },
        recipe,
    })
}

/// What is on order of the materials, with the first day on which any of it is expected.
pub(super) fn on_order(
    conn: &mut AnyConnection,
    materials: &[i64],
) -> Result<BTreeMap<i64, OnOrder>, Error> {
    let mut by_material = BTreeMap::new();
    for (material_id, arrivals) in stock::on_order::on_order(conn, materials)? {
        let quantity = Quantity::checked_sum(arrivals.iter().map(|arrival| arrival.quantity))?;
        let arrives_on = arrivals
            .iter()
            .filter_map(|arrival| arrival.expected_on)
            .min();
        by_material.insert(
            material_id,
            OnOrder {
                quantity,
                arrives_on,
            },
        );
    }
    Ok(by_material)
}

/// What weighed cups have taught about the residue of a recipe's cup with its elastomer.
///
/// # Errors
/// [`Error::Internal`] when a kept observation makes no sense.
pub(in crate::casting) fn posterior(
    conn: &mut AnyConnection,
    recipe: &RecipeFacts,
) -> Result<FactorPosterior, Error> {
    let noise = Noise::default();
    let mut posterior = FactorPosterior::prior();
    for (film, weighed) in store::observations_fetch(conn, recipe.cup.id, recipe.elastomer.id)? {
        posterior = posterior
            .learn(film.to_f64(), weighed.to_f64(), &noise)
            .map_err(Error::internal)?
            .posterior;
    }
    Ok(posterior)
}

/// The fill factors that observed levels of a recipe's casts taught, by its present dimensions: one for each cast, the
/// chip measured at the demould rather than the level seen at the pour.
fn fill_factors(conn: &mut AnyConnection, recipe: &RecipeFacts) -> Result<Vec<f64>, Error> {
    let rows = store::levels_fetch(conn, recipe.recipe.id)?;
    let measured: BTreeSet<i64> = rows
        .iter()
        .filter(|row| row.source == "demold")
        .map(|row| row.cast_id)
        .collect();
    Ok(rows
        .iter()
        .filter(|row| row.source == "demold" || !measured.contains(&row.cast_id))
        .filter_map(|row| {
            let level = ObservedLevel {
                poured_ml: row.poured_ml.to_f64(),
                level_mm: row.level_mm.to_f64(),
                chip_thickness_mm: row.chip_thickness_mm.to_f64(),
            };
            // A level that the dimensions, corrected since, cannot explain teaches nothing any more.
            taught_factor(recipe, &level).ok()
        })
        .collect())
}

fn yields(conn: &mut AnyConnection, recipe_id: i64) -> Result<YieldPosterior, Error> {
    let count = |(good, rejected): store::ChipSums| ChipCount {
        good: u64::try_from(good).unwrap_or(0),
        rejected: u64::try_from(rejected).unwrap_or(0),
    };
    let own = store::chips_of_recipe(conn, recipe_id)?;
    let all = store::chips_of_all(conn)?;
    Ok(YieldPosterior::from_history(
        count(own),
        count((all.0 - own.0, all.1 - own.1)),
    ))
}
