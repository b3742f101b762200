//! Loading what the page of cost shows, at one moment.

use super::asked::CostAsked;
use crate::base::{Error, Micro, Quantity};
use crate::casting::planning::what_if_load::cast_by_trays;
use crate::casting::planning::what_if_view::Outcome;
use crate::catalogue::recipe_all;
use crate::costing::replica_cost::grouping::GroupBy;
use crate::costing::replica_cost::ops::replica_cost_answered;
use crate::costing::replica_cost::report::ReplicaCost;
use crate::costing::residue::drain::DrainTime;
use crate::costing::residue::ops::drain_of_recipe;
use crate::db::AnyConnection;
use crate::http::Service;

/// The largest cast that is looked at, in trays.
const TRAYS_MOST: u32 = 12;

/// What the page is made of.
pub(super) struct Facts {
    /// The report that was asked for.
    pub(super) report: ReplicaCost,
    /// Whether it is the one that was kept when its days were closed.
    pub(super) kept: bool,
    /// The same days by month.
    pub(super) months: ReplicaCost,
    /// The curves of the recipe that was chosen, else of the first.
    pub(super) curves: Option<CurveFacts>,
    /// Why the recipe that was asked for has no curves.
    pub(super) fault: Option<String>,
}

/// What the curves of a recipe are made of.
pub(super) struct CurveFacts {
    pub(super) recipe: String,
    pub(super) drain: DrainTime,
    /// Shorter drain times and what they leave.
    pub(super) sooner: Vec<(Micro, Quantity)>,
    /// Casts by their trays.
    pub(super) sizes: Vec<(u32, Outcome)>,
}

/// Codes and names of the recipes in use, by code.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub(super) fn recipes(conn: &mut AnyConnection) -> Result<Vec<(String, String)>, Error> {
    let mut found: Vec<(String, String)> = recipe_all(conn)?
        .into_iter()
        .filter(|recipe| !recipe.retired)
        .map(|recipe| (recipe.code.into_string(), recipe.name))
        .collect();
    found.sort();
    Ok(found)
}

/// Loads them.
///
/// # Errors
/// As the reports.
pub(super) fn facts(
    conn: &mut AnyConnection,
    asked: &CostAsked,
    recipes: &[(String, String)],
    service: &Service,
) -> Result<Facts, Error> {
    let currency = service.base_currency();
    let (report, kept) = replica_cost_answered(conn, asked.period, asked.by, currency)?;
    let (months, _) = replica_cost_answered(conn, asked.period, GroupBy::Month, currency)?;
    let known = |code: &String| recipes.iter().any(|(known, _)| known == code);
    let fault = asked
        .recipe
        .as_ref()
        .filter(|code| !known(code))
        .map(|code| {
            let code: String = code.chars().take(64).collect();
            format!("recipe `{code}` is not one that is in use: choose one of the list")
        });
    let chosen = match &asked.recipe {
        Some(code) => Some(code).filter(|code| known(code)),
        None => recipes.first().map(|(code, _)| code),
    };
    let curves = chosen.map(|code| curves(conn, asked, code, service));
    Ok(Facts {
        report,
        kept,
        months,
        curves: curves.transpose()?,
        fault,
    })
}

fn curves(
    conn: &mut AnyConnection,
    asked: &CostAsked,
    code: &str,
    service: &Service,
) -> Result<CurveFacts, Error> {
    let (drain, sooner) = drain_of_recipe(conn, asked.period, code)?;
    let named = (drain.recipe.clone(), service.today());
    let sizes = cast_by_trays(conn, named, TRAYS_MOST, service.house())?;
    Ok(CurveFacts {
        recipe: code.to_owned(),
        drain,
        sooner,
        sizes,
    })
}
