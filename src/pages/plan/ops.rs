//! Loading what the page of a plan shows, and booking what it showed.

use std::collections::HashMap;

use chrono::NaiveDate;
use serde_json::json;

use super::asked::Asked;
use crate::base::{Error, Micro, Money};
use crate::casting::life::book::{Booking, cast_book, cast_plan};
use crate::casting::planning::charging::planned_share;
use crate::casting::planning::request::PlanRequest;
use crate::casting::planning::what_if::PlanAnswer;
use crate::catalogue::{grant_all, material_all, recipe_all};
use crate::db::{AnyConnection, House, Tx};
use crate::http::{Reply, document_read};

/// Name and unit of each material, by its code.
pub(super) type Names = HashMap<String, (String, &'static str)>;

/// Code and name of each entry that can be chosen.
pub(super) type Choices = Vec<(String, String)>;

/// What the page is made of.
pub(super) struct Facts {
    /// What was asked, with what is wrong of it.
    pub(super) asked: Asked,
    /// The recipes in use.
    pub(super) recipes: Choices,
    /// The grants in use.
    pub(super) grants: Choices,
    /// The plan; none while too little is said, or when something is wrong.
    pub(super) planned: Option<Planned>,
    /// Whether the state of things, not what was typed, forbids the plan.
    pub(super) refused: bool,
}

/// A plan with what is said of it.
pub(super) struct Planned {
    /// What was asked for.
    pub(super) request: PlanRequest,
    /// The plan, and the same in other divisions into cups.
    pub(super) answer: PlanAnswer,
    /// The recipe's name.
    pub(super) recipe_name: String,
    /// The step of the balance, in g.
    pub(super) readability_g: Micro,
    /// What each grant pays, in the order of the charges.
    pub(super) shares: Vec<Money>,
    /// Materials by code.
    pub(super) materials: Names,
}

/// Loads them.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer. What is wrong with the plan is no error here: it is marked.
pub(super) fn facts(
    conn: &mut AnyConnection,
    mut asked: Asked,
    today: NaiveDate,
    house: House,
) -> Result<Facts, Error> {
    let all = recipe_all(conn)?.into_iter();
    let used = all.filter(|recipe| !recipe.retired);
    let mut recipes: Choices = used
        .map(|recipe| (recipe.code.into_string(), recipe.name))
        .collect();
    recipes.sort_by(|one, other| one.1.cmp(&other.1));
    let all = grant_all(conn)?.into_iter();
    let used = all.filter(|grant| !grant.retired);
    let mut grants: Choices = used
        .map(|grant| (grant.code.into_string(), grant.name))
        .collect();
    grants.sort_by(|one, other| one.1.cmp(&other.1));
    asked.with_defaults(today, &recipes);
    let planned = match asked.is_asked() {
        true => planned(conn, &mut asked, house),
        false => Ok(None),
    };
    let (planned, refused) = match planned {
        Ok(planned) => (planned, false),
        Err(Error::Invalid(errors)) => {
            asked.mark(&errors);
            (None, false)
        }
        Err(Error::Refused(refusal)) => {
            asked.faults.push(refusal.detail);
            (None, true)
        }
        Err(other) => return Err(other),
    };
    Ok(Facts {
        asked,
        recipes,
        grants,
        planned,
        refused,
    })
}

fn planned(
    conn: &mut AnyConnection,
    asked: &mut Asked,
    house: House,
) -> Result<Option<Planned>, Error> {
    let Some(request) = requested(asked)? else {
        return Ok(None);
    };
    let answer = cast_plan(conn, &request, house, true)?;
    let recipe = crate::catalogue::recipe_by_code(conn, request.recipe.as_str())?;
    let share = |charge: &crate::casting::planning::request::Charge| {
        planned_share(answer.plan.cost.total, charge.share)
    };
    let shares = request
        .charges
        .iter()
        .map(share)
        .collect::<Result<_, _>>()?;
    let materials = material_all(conn)?.into_iter();
    Ok(Some(Planned {
        shares,
        answer,
        readability_g: recipe.body.balance_readability_g(),
        recipe_name: recipe.name,
        materials: materials
            .map(|entry| {
                let unit = entry.body.unit.as_str();
                (entry.code.into_string(), (entry.name, unit))
            })
            .collect(),
        request,
    }))
}

/// What is asked for as the API would have read it; none when a count is no number, which is marked.
///
/// # Errors
/// [`Error::Invalid`] at the field.
pub(super) fn requested(asked: &mut Asked) -> Result<Option<PlanRequest>, Error> {
    asked.document().map(document_read).transpose()
}

/// Books a cast; the answer leads to its page.
///
/// # Errors
/// Those of the operation.
pub(super) fn book(tx: &mut Tx<'_>, request: &PlanRequest) -> Result<Reply, Error> {
    match cast_book(tx, request)? {
        Booking::Booked(cast) => {
            Reply::created(format!("/casts/{}", cast.code), &json!({"cast": cast.code}))
        }
        Booking::Refused(error) => Reply::problem(error),
    }
}
