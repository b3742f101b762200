//! The cure of a recipe: what it is, and what the elastomer's own cure points advise at that temperature.
//!
//! Invariants: the recipe's cure rules; the advice is never a refusal, and where there is none the view says why.
//! Deliberately absent: what tray and mould bear (`sizing` checks that against the cure given here).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sizing::rounded;
use crate::base::{Error, Micro};
use crate::casting::sums::heat::{CureAdvice, CurePoint, arrhenius_line};
use crate::catalogue::{CureBody, ElastomerBody, RecipeBody, RecipeFacts};

/// How much shorter than advised a cure may be before a caution is due, as a share of the advice: 0.10 (*assumption*).
pub const SHORT_CURE_SHARE: f64 = 0.10;

/// The temperature from which what comes out of the oven is called hot, in degrees Celsius: 40 (*assumption*).
pub const HOT_FROM_C: f64 = 40.0;

/// Where a cure comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CureBasis {
    /// The recipe says it.
    Recipe,
    /// The recipe says nothing: it is the elastomer's first cure point.
    Elastomer,
}

/// How a cast is cured, and what the elastomer's cure points advise at that temperature.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CureView {
    /// The temperature, in degrees Celsius.
    pub temperature_c: Micro,
    /// The time, in minutes.
    pub minutes: Micro,
    /// Where both come from.
    pub basis: CureBasis,
    /// The time on the line through the elastomer's cure points, in minutes; absent when they span no line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advised_minutes: Option<Micro>,
    /// Whether the temperature lies outside the elastomer's cure points.
    #[serde(default)]
    pub extrapolated: bool,
    /// Why there is no advice, or how far to trust it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// The cure that holds: the recipe's own, else the elastomer's first cure point; none for an elastomer without points.
///
/// ```
/// use heeltap::casting::planning::cure::{CureBasis, effective_cure};
/// use heeltap::catalogue::{ElastomerBody, RecipeBody};
/// let recipe: RecipeBody = serde_json::from_value(serde_json::json!({
///     "code": "chip-a", "name": "Chip A", "elastomer": "el-a", "mold": "mold-a", "container": "tray-a",
///     "cup": "cup-a", "chip_thickness_mm": "4", "drain_time_s": "60"
/// }))?;
/// let elastomer: ElastomerBody = serde_json::from_value(serde_json::json!({
///     "code": "el-a", "name": "Elastomer A", "base": "base-a", "curing_agent": "agent-a",
///     "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.05", "density_g_per_ml": "1.03",
///     "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": [{"temperature_c": "80", "minutes": "120"}]
/// }))?;
/// let (cure, basis) = effective_cure(&recipe, &elastomer).unwrap();
/// assert_eq!((cure.minutes.to_string(), basis), ("120".to_owned(), CureBasis::Elastomer));
/// # Ok::<(), serde_json::Error>(())
/// ```
#[must_use]
pub fn effective_cure(
    recipe: &RecipeBody,
    elastomer: &ElastomerBody,
) -> Option<(CureBody, CureBasis)> {
    let own = recipe.cure.map(|cure| (cure, CureBasis::Recipe));
    own.or_else(|| {
        elastomer
            .cure
            .first()
            .map(|cure| (*cure, CureBasis::Elastomer))
    })
}

/// The cure of a recipe with the advice on it.
///
/// # Errors
/// [`Error::Invalid`] when the advice leaves the range of quantities.
pub(in crate::casting) fn cure_view(facts: &RecipeFacts) -> Result<Option<CureView>, Error> {
    let Some((cure, basis)) = effective_cure(&facts.recipe.body, &facts.elastomer.body) else {
        return Ok(None);
    };
    let mut view = CureView {
        temperature_c: cure.temperature_c,
        minutes: cure.minutes,
        basis,
        advised_minutes: None,
        extrapolated: false,
        note: None,
    };
    match advice(&facts.elastomer.body, cure.temperature_c.to_f64()) {
        Err(why) => view.note = Some(format!("There is no advice on the time: {why}.")),
        Ok(advice) => {
            view.advised_minutes = Some(rounded(advice.minutes)?);
            view.extrapolated = advice.extrapolated;
            if advice.extrapolated {
                view.note = Some(outside(&facts.elastomer.body, cure.temperature_c));
            }
        }
    }
    Ok(Some(view))
}

/// The time on the line through the elastomer's cure points at a temperature, or why there is none.
fn advice(elastomer: &ElastomerBody, temperature_c: f64) -> Result<CureAdvice, String> {
    let points: Vec<CurePoint> = elastomer
        .cure
        .iter()
        .map(|point| CurePoint {
            temperature_c: point.temperature_c.to_f64(),
            minutes: point.minutes.to_f64(),
        })
        .collect();
    let line = arrhenius_line(&points).map_err(|e| e.to_string())?;
    let advice = line.advise(temperature_c).map_err(|e| e.to_string())?;
    // A line through points of nearly the same time can reach absurd times far outside them.
    if advice.minutes.is_finite() && advice.minutes <= LONGEST_MINUTES {
        Ok(advice)
    } else {
        Err(format!(
            "the line through the cure points gives more than {LONGEST_MINUTES} minutes at {temperature_c} C"
        ))
    }
}

/// The longest time that is given as advice, in minutes: the longest cure that the catalogue takes.
const LONGEST_MINUTES: f64 = 100_000.0;

fn outside(elastomer: &ElastomerBody, temperature_c: Micro) -> String {
    let temperatures = || elastomer.cure.iter().map(|point| point.temperature_c);
    let (coolest, hottest) = (temperatures().min(), temperatures().max());
    format!(
        "{temperature_c} C lies outside the elastomer's cure points ({} to {} C): the advised time is extrapolated, so test a cured piece before relying on it.",
        coolest.unwrap_or(Micro::ZERO),
        hottest.unwrap_or(Micro::ZERO),
    )
}

/// What to look out for in the cure: shorter than advised by more than a tenth (*assumption*), or advised outside the points.
#[must_use]
pub(in crate::casting) fn cure_cautions(view: &CureView) -> Vec<String> {
    let mut cautions = Vec::new();
    if let Some(advised) = view
        .advised_minutes
        .filter(|advised| view.minutes.to_f64() < advised.to_f64() * (1.0 - SHORT_CURE_SHARE))
    {
        cautions.push(format!(
            "cure of {} min at {} C is more than {:.0} % shorter than the {:.0} min that the elastomer's cure points advise",
            view.minutes,
            view.temperature_c,
            100.0 * SHORT_CURE_SHARE,
            advised.to_f64(),
        ));
    }
    if view.extrapolated {
        cautions.extend(view.note.clone());
    }
    cautions
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn elastomer(points: &[(&str, &str)]) -> ElastomerBody {
        let cure: Vec<_> = points
            .iter()
            .map(|(temperature, minutes)| json!({"temperature_c": temperature, "minutes": minutes}))
            .collect();
        serde_json::from_value(json!({
            "code": "el-a", "name": "Elastomer A", "base": "base-a", "curing_agent": "agent-a",
            "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.05",
            "density_g_per_ml": "1.03", "viscosity_pa_s": "3.5", "pot_life_min": "90", "cure": cure
        }))
        .unwrap()
    }

    /// Expected: minutes to two decimals and whether outside the points, or the reason.
    #[track_caller]
    fn check(points: &[(&str, &str)], temperature_c: f64, expected: &str) {
        let shown = match advice(&elastomer(points), temperature_c) {
            Ok(advice) => format!("{:.2} {}", advice.minutes, advice.extrapolated),
            Err(why) => why,
        };
        assert_eq!(shown, expected);
    }

    #[test]
    fn advice_or_the_reason_why_there_is_none() {
        let two = [("25", "2880"), ("100", "35")];
        check(&two, 85.0, "72.94 false");
        check(&two, 20.0, "4187.23 true");
        check(
            &two[..1],
            85.0,
            "cure has points at 1 temperature(s), but must have them at 2 or more",
        );
        check(
            &[("60", "60"), ("80", "90")],
            85.0,
            "cure points say that it takes longer at 80 C than at 60 C",
        );
        check(
            &[("99", "10"), ("100", "1")],
            25.0,
            "the line through the cure points gives more than 100000 minutes at 25 C",
        );
        check(
            &two,
            500.0,
            "temperature_c is 500, but must be from -50 to 400",
        );
    }

    #[test]
    fn a_tenth_shorter_is_borne() {
        let view = |minutes: &str| CureView {
            temperature_c: Micro::from_int(85),
            minutes: Micro::parse(minutes).unwrap(),
            basis: CureBasis::Recipe,
            advised_minutes: Some(Micro::from_int(50)),
            extrapolated: false,
            note: None,
        };
        assert!(cure_cautions(&view("45")).is_empty());
        assert_eq!(
            cure_cautions(&view("44.9")),
            [
                "cure of 44.9 min at 85 C is more than 10 % shorter than the 50 min that the elastomer's cure points advise"
            ]
        );
    }
}
