//! Making the residue report from the books.

use std::collections::HashMap;

use super::drain::{DrainTime, MixPrice, PartPrice, shorter, trade_off};
use super::facts::{Judged, Known, PouredCast, judge};
use super::grouping::ResidueBy;
use super::report::{ResidueGathering, ResidueNames, whole};
use super::view::ResidueReport;
use crate::base::{Currency, Error, Micro, Quantity};
use crate::casting::sums::learned::FactorPosterior;
use crate::catalogue::{RecipeFacts, recipe_all, recipe_facts};
use crate::costing::cast_money::CastMoney;
use crate::costing::period::Period;
use crate::costing::replica_cost::grouping::parts_of;
use crate::costing::replica_cost::report::Names;
use crate::costing::store;
use crate::db::AnyConnection;

/// What stayed in the cups of the casts poured in a period.
///
/// # Errors
/// [`Error::Invalid`] when a sum leaves its range; [`Error::Unavailable`] when the database does not answer.
pub fn residue(
    conn: &mut AnyConnection,
    period: Period,
    by: ResidueBy,
    currency: Currency,
) -> Result<ResidueReport, Error> {
    let (judged, known) = judge(&store::observations(conn)?)?;
    let mut cups: HashMap<i64, Vec<(i64, Judged)>> = HashMap::new();
    for (place, judged) in (0..).zip(judged) {
        let of_cast = cups.entry(judged.observation.cast_id).or_default();
        of_cast.push((place, judged));
    }
    let casts = store::casts_poured(conn, period.days())?;
    let mut gathering = ResidueGathering::new(by);
    if let (Some(first), Some(last)) = (casts.first(), casts.last()) {
        let ids = (first.id, last.id);
        let by_grant = by == ResidueBy::Grant;
        let mut money = CastMoney::read(conn, ids, by_grant)?;
        for cast in &casts {
            let (charges, costs) = money.of(cast.id);
            let payers = if by_grant {
                parts_of(&charges, &costs)
            } else {
                costs
                    .into_iter()
                    .map(|(_, amounts)| whole(amounts))
                    .collect()
            };
            let cups = cups.get(&cast.id).map_or(&[][..], Vec::as_slice);
            gathering.add(cast, cups, &payers)?;
        }
    }
    let names = ResidueNames {
        materials: store::names(conn, "material")?,
        elastomers: store::names(conn, "elastomer")?,
        rows: match by {
            ResidueBy::Grant => store::names(conn, "grant")?,
            ResidueBy::Recipe => store::names(conn, "recipe")?,
            ResidueBy::Cup | ResidueBy::Month | ResidueBy::Cast => Names::new(),
        },
    };
    let drain_time = drain_time(conn, &casts, &known)?;
    gathering.report(period, currency, &names, &known, drain_time)
}

/// What longer draining would save for each recipe in use, by its casts of the period.
fn drain_time(
    conn: &mut AnyConnection,
    casts: &[PouredCast],
    known: &Known,
) -> Result<Vec<DrainTime>, Error> {
    let mut by_recipe: HashMap<i64, Vec<&PouredCast>> = HashMap::new();
    for cast in casts {
        by_recipe.entry(cast.recipe_id).or_default().push(cast);
    }
    let mut recipes = Vec::new();
    for recipe in recipe_all(conn)? {
        if !recipe.retired {
            recipes.push(recipe_facts(conn, recipe.code.as_str())?);
        }
    }
    let parts: Vec<i64> = recipes
        .iter()
        .flat_map(|facts| [facts.base.id, facts.curing_agent.id])
        .collect();
    let prices: HashMap<i64, PartPrice> = store::part_prices(conn, &parts)?;
    recipes.sort_by(|a, b| a.recipe.code.cmp(&b.recipe.code));
    recipes
        .iter()
        .map(|facts| {
            let casts = by_recipe.get(&facts.recipe.id);
            drained(facts, casts.map_or(&[], Vec::as_slice), known, &prices)
        })
        .collect()
}

fn drained(
    facts: &RecipeFacts,
    casts: &[&PouredCast],
    known: &Known,
    prices: &HashMap<i64, PartPrice>,
) -> Result<DrainTime, Error> {
    let price = MixPrice {
        base: prices.get(&facts.base.id).copied(),
        curing_agent: prices.get(&facts.curing_agent.id).copied(),
        ratio: *facts.ratio(),
    };
    let factor = known
        .get(&(facts.cup.id, facts.elastomer.id))
        .copied()
        .unwrap_or_else(FactorPosterior::prior);
    trade_off(facts, casts, &factor, &price)
}

/// What longer draining would save for one recipe, as the report of a period says it, and what shorter draining would leave:
/// drain times in s with what stays in a cup, in g.
///
/// # Errors
/// [`Error::NotFound`] when there is no such recipe; else as [`residue`].
pub fn drain_of_recipe(
    conn: &mut AnyConnection,
    period: Period,
    recipe: &str,
) -> Result<(DrainTime, Vec<(Micro, Quantity)>), Error> {
    let facts = recipe_facts(conn, recipe)?;
    let (_, known) = judge(&store::observations(conn)?)?;
    let casts = store::casts_poured(conn, period.days())?;
    let casts: Vec<&PouredCast> = casts
        .iter()
        .filter(|cast| cast.recipe_id == facts.recipe.id)
        .collect();
    let prices = store::part_prices(conn, &[facts.base.id, facts.curing_agent.id])?;
    let drain = drained(&facts, &casts, &known, &prices)?;
    let sooner = shorter(&facts, &drain)?;
    Ok((drain, sooner))
}
