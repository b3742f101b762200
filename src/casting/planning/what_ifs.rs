//! What if: a plan with one thing changed at a time. Pure; each line is a whole plan on the same facts.
//!
//! Invariants: lines come in the order in which they were asked for; what cannot be cast has its reason instead of a line.
//! Deliberately absent: any choice, and two things changed at once.

use super::plan::{PlanFacts, id_of, plan};
use super::plan_view::CastPlan;
use super::request::PlanRequest;
use super::variations::{OtherTray, drained, in_tray, priced, yielding};
use super::what_if_request::{PriceChange, WhatIfIn, at_plan};
use super::what_if_view::{
    BatchLine, ContainerLine, DrainLine, Outcome, PlanLine, PriceLine, WhatIfOut, YieldLine,
    component_changes,
};
use crate::base::{Error, FieldError, Micro};

/// A plan, and what it would be otherwise; `trays` are the other trays asked for, in their order.
///
/// # Errors
/// [`Error::Invalid`] when the plan itself cannot be made, for a drain time that no recipe may have, and for the price of a
/// material that the recipe does not need.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::casting::planning::what_ifs::what_ifs;
/// let asked = r#"{"plan": {"recipe": "chip", "containers": 4, "cast_on": "2026-03-02"}, "drain_time_s": ["60", "240"]}"#;
/// let found = what_ifs(&facts, &serde_json::from_str(asked).unwrap(), &[])?;
/// let residue_g = |line: usize| found.drain_time_s[line].outcome.line.as_ref().unwrap().residue_g.to_f64();
/// assert_eq!(residue_g(0), found.plan.residue.planned_g.to_f64());
/// // A film thins with the root of the time: four times as long leaves about half.
/// assert!((residue_g(1) / residue_g(0) - 0.5).abs() < 0.02);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn what_ifs(
    facts: &PlanFacts,
    asked: &WhatIfIn,
    trays: &[OtherTray],
) -> Result<WhatIfOut, Error> {
    let request = &asked.plan;
    let view = plan(facts, request).map_err(at_plan)?.view;
    let batches = asked.containers_per_batch.iter();
    let drains = asked.drain_time_s.iter().enumerate();
    let prices = asked.prices.iter().enumerate();
    let yields = asked.yields.iter();
    Ok(WhatIfOut {
        unchanged: PlanLine::of(&view),
        containers_per_batch: batches
            .map(|most| batch_line(facts, request, *most))
            .collect::<Result<_, _>>()?,
        drain_time_s: drains
            .map(|(at, drain)| drain_line(facts, request, (at, *drain)))
            .collect::<Result<_, _>>()?,
        container: trays
            .iter()
            .map(|tray| container_line(facts, request, tray))
            .collect::<Result<_, _>>()?,
        prices: prices
            .map(|(at, price)| price_line(facts, request, (at, price), &view))
            .collect::<Result<_, _>>()?,
        yields: yields
            .map(|share| yield_line(facts, request, *share, &view))
            .collect::<Result<_, _>>()?,
        plan: view,
    })
}

/// The cast with 1, 2, … up to `most` trays: how many, and what comes of it. Nothing else of the request is changed.
///
/// # Errors
/// Those of a plan, but for what cannot be cast so, which has its reason instead of a line.
///
/// ```
/// # let recipe = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/src/casting/samples/recipe.json"));
/// # let euro = heeltap::base::Currency::parse("EUR").unwrap();
/// # let facts = heeltap::casting::planning::plan::PlanFacts::bare(serde_json::from_str(recipe).unwrap(), euro);
/// use heeltap::casting::planning::what_ifs::by_trays;
/// let asked = r#"{"recipe": "chip", "containers": 1, "cast_on": "2026-03-02"}"#;
/// let found = by_trays(&facts, &serde_json::from_str(asked).unwrap(), 3)?;
/// let lines = found.iter().map(|(trays, outcome)| (*trays, outcome.line.as_ref().unwrap().containers));
/// assert_eq!(lines.collect::<Vec<_>>(), [(1, 1), (2, 2), (3, 3)]);
/// # Ok::<(), heeltap::base::Error>(())
/// ```
pub fn by_trays(
    facts: &PlanFacts,
    request: &PlanRequest,
    most: u32,
) -> Result<Vec<(u32, Outcome)>, Error> {
    let cast_of = |trays| {
        let asked = PlanRequest {
            containers: Some(trays),
            good_chips_wanted: None,
            ..request.clone()
        };
        Ok((trays, Outcome::of(planned(facts, &asked).as_ref())?))
    };
    (1..=most).map(cast_of).collect()
}

fn planned(facts: &PlanFacts, request: &PlanRequest) -> Result<CastPlan, Error> {
    plan(facts, request).map(|planned| planned.view)
}

fn batch_line(facts: &PlanFacts, request: &PlanRequest, most: u32) -> Result<BatchLine, Error> {
    let asked = PlanRequest {
        containers_per_batch: Some(most),
        ..request.clone()
    };
    Ok(BatchLine {
        containers_per_batch: most,
        outcome: Outcome::of(planned(facts, &asked).as_ref())?,
    })
}

fn drain_line(
    facts: &PlanFacts,
    request: &PlanRequest,
    (at, drain_time_s): (usize, Micro),
) -> Result<DrainLine, Error> {
    let varied = drained(facts, drain_time_s)
        .map_err(|error| moved(error, &format!("/drain_time_s/{at}")))?;
    Ok(DrainLine {
        drain_time_s,
        outcome: Outcome::of(planned(&varied, request).as_ref())?,
    })
}

fn container_line(
    facts: &PlanFacts,
    request: &PlanRequest,
    tray: &OtherTray,
) -> Result<ContainerLine, Error> {
    let view = planned(&in_tray(facts, tray), request);
    let fill = view.as_ref().ok().map(|view| view.fill.clone());
    let trim = fill
        .as_ref()
        .map(|fill| fill.mass_g.checked_sub(fill.chip_g));
    Ok(ContainerLine {
        container: tray.material.code.clone(),
        trim_g: trim.transpose()?,
        fill,
        outcome: Outcome::of(view.as_ref())?,
    })
}

fn price_line(
    facts: &PlanFacts,
    request: &PlanRequest,
    (at, price): (usize, &PriceChange),
    before: &CastPlan,
) -> Result<PriceLine, Error> {
    let Some(id) = id_of(facts, &price.material) else {
        let detail = format!(
            "recipe `{}` needs no `{}`: name a material that it needs",
            facts.recipe.recipe.code.as_str(),
            price.material.as_str()
        );
        return Err(Error::invalid(format!("/prices/{at}/material"), detail));
    };
    let varied = priced(facts, id, price.change)
        .map_err(|error| moved(error, &format!("/prices/{at}/change")))?;
    let after = planned(&varied, request);
    let by_component = after.as_ref().map(|after| component_changes(before, after));
    Ok(PriceLine {
        material: price.material.clone(),
        change: price.change,
        by_component: by_component.unwrap_or_else(|_| Ok(Vec::new()))?,
        outcome: Outcome::of(after.as_ref())?,
    })
}

fn yield_line(
    facts: &PlanFacts,
    request: &PlanRequest,
    share: Micro,
    before: &CastPlan,
) -> Result<YieldLine, Error> {
    let varied = yielding(facts, share);
    let same_trays = PlanRequest {
        containers: Some(before.containers),
        good_chips_wanted: None,
        ..request.clone()
    };
    let for_wanted = request
        .good_chips_wanted
        .map(|_| Outcome::of(planned(&varied, request).as_ref()));
    Ok(YieldLine {
        share,
        outcome: Outcome::of(planned(&varied, &same_trays).as_ref())?,
        for_wanted: for_wanted.transpose()?,
    })
}

/// An error of a value that was sent, at its place.
fn moved(error: Error, pointer: &str) -> Error {
    match error {
        Error::Invalid(faults) => {
            let at = |fault: FieldError| FieldError::new(pointer, fault.detail);
            Error::Invalid(faults.into_iter().map(at).collect())
        }
        other => other,
    }
}

#[cfg(test)]
mod tests;
