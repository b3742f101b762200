//! The day of a cast: what its moulds and oven have to do beside the other casts of that day.
//!
//! Invariant: a day that is too short is a caution, never a refusal. Deliberately absent: which casts there are (the store
//! knows), and a timetable.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::cure::effective_cure;
use super::sizing::rounded;
use crate::base::{Error, Micro};
use crate::casting::sums::day::{CastLoad, day_load};
use crate::catalogue::RecipeFacts;

/// Another cast of the same day.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherCast {
    /// The cast's id.
    pub cast_id: i64,
    /// Its code.
    pub code: String,
    /// The code of its mould.
    pub mold: String,
    /// What it asks of the day.
    pub load: CastLoad,
}

/// What is known of a day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayFacts {
    /// How long the working day is, in minutes.
    pub working_min: u32,
    /// The casts that are booked for it or were poured on it.
    pub others: Vec<OtherCast>,
}

impl DayFacts {
    /// The same day without one of its casts: for a cast that is planned again.
    ///
    /// ```
    /// use heeltap::casting::planning::day::DayFacts;
    /// let day = DayFacts { working_min: 480, others: vec![] };
    /// assert_eq!(day.clone().without(7), day);
    /// ```
    #[must_use]
    pub fn without(mut self, cast_id: i64) -> Self {
        self.others.retain(|other| other.cast_id != cast_id);
        self
    }
}

/// The load of the day of a cast, all casts of that day together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DayView {
    /// Rounds of all casts of the day.
    pub rounds: u32,
    /// The code of the mould that is busy longest.
    pub mold: String,
    /// How long that mould is busy, in minutes: its rounds one after the other, each until it is cured; a cure that does not
    /// fit into the working day goes on overnight.
    pub mold_minutes: Micro,
    /// How long the oven is busy, in minutes; 0 while no recipe says how many trays it takes.
    pub oven_minutes: Micro,
    /// How long the working day is, in minutes.
    pub working_minutes: Micro,
    /// Whether mould and oven need no longer than that.
    pub fits: bool,
    /// The other casts of the day, by their codes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub with: Vec<String>,
}

/// What a cast of `containers` trays asks of its day; none when its elastomer has no cure.
#[must_use]
pub(in crate::casting) fn cast_load(facts: &RecipeFacts, containers: u32) -> Option<CastLoad> {
    let recipe = &facts.recipe.body;
    let (cure, _) = effective_cure(recipe, &facts.elastomer.body)?;
    Some(CastLoad {
        mold_id: facts.mold.id,
        containers,
        rounds: containers.div_ceil(facts.mold.body.copies().max(1)),
        prep_min: recipe.prep_min().to_f64(),
        pour_min_per_container: recipe.pour_min_per_container().to_f64(),
        cure_temperature_c: cure.temperature_c.to_f64(),
        cure_min: cure.minutes.to_f64(),
        oven_containers: recipe.oven_containers,
    })
}

/// The load of the day with a cast of `containers` trays added to it.
///
/// # Errors
/// [`Error::Invalid`] when the times leave the range of quantities.
pub(in crate::casting) fn day_view(
    facts: &RecipeFacts,
    containers: u32,
    day: &DayFacts,
) -> Result<Option<DayView>, Error> {
    let Some(own) = cast_load(facts, containers) else {
        return Ok(None);
    };
    let loads: Vec<CastLoad> = day
        .others
        .iter()
        .map(|other| other.load)
        .chain([own])
        .collect();
    let load = day_load(&loads, f64::from(day.working_min))
        .map_err(|e| Error::invalid("/recipe", e.to_string()))?;
    let own_code = || facts.mold.code.to_string();
    let mold = day
        .others
        .iter()
        .find(|other| Some(other.load.mold_id) == load.mold_id && own.mold_id != other.load.mold_id)
        .map_or_else(own_code, |other| other.mold.clone());
    Ok(Some(DayView {
        rounds: load.rounds,
        mold,
        mold_minutes: rounded(load.mold_min)?,
        oven_minutes: rounded(load.oven_min)?,
        working_minutes: rounded(f64::from(day.working_min))?,
        fits: load.fits,
        with: day.others.iter().map(|other| other.code.clone()).collect(),
    }))
}

/// The caution that a day is too short for its rounds.
#[must_use]
pub(in crate::casting) fn day_caution(view: &DayView) -> Option<String> {
    if view.fits {
        return None;
    }
    let others = match view.with.len() {
        0 => String::new(),
        1 => " with one other cast".to_owned(),
        more => format!(" with {more} other casts"),
    };
    Some(format!(
        "the day has {} rounds{others}, more than fit into it: mould `{}` needs {} min and the oven {} min, the working day has {} min",
        view.rounds, view.mold, view.mold_minutes, view.oven_minutes, view.working_minutes
    ))
}
