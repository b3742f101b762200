//! An elastomer: a base and a curing agent that belong together.
//!
//! Invariants: the ratio is by mass; there is at least one cure point, and one time for each temperature.
//! Deliberately absent: the mix itself and the Arrhenius line (the casting room computes them).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{Checks, DENSITY_G_PER_ML, MINUTES, Range, TEMPERATURE_C};
use super::kind::MaterialKind;
use super::noun::{CatalogueBody, Link, Noun};
use crate::base::{Code, FieldError, Micro};

const PARTS: Range = Range::above_0(1_000_000, "parts by mass");
const TOLERANCE: Range = Range::between(Micro::from_micro(1), Micro::from_micro(500_000), "");
const VISCOSITY_PA_S: Range = Range::above_0(100_000, "Pa s");
const CURE_POINTS_MAX: usize = 50;

/// Parts by mass of base and curing agent.
///
/// ```
/// use heeltap::catalogue::RatioBody;
/// let ratio: RatioBody = serde_json::from_str(r#"{"base": "10", "curing_agent": "1"}"#)?;
/// assert_eq!(ratio.base.to_string(), "10");
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RatioBody {
    /// Parts of base, more than 0.
    pub base: Micro,
    /// Parts of curing agent, more than 0.
    pub curing_agent: Micro,
}

impl RatioBody {
    /// Adds what is wrong with it, under `/ratio`.
    pub(super) fn check(&self, checks: &mut Checks) {
        checks.decimal("/ratio/base", self.base, PARTS);
        checks.decimal("/ratio/curing_agent", self.curing_agent, PARTS);
    }
}

/// A temperature and how long a cure takes at it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CureBody {
    /// The temperature, in degrees Celsius.
    pub temperature_c: Micro,
    /// The time, in minutes.
    pub minutes: Micro,
}

impl CureBody {
    /// Adds what is wrong with it, under a pointer.
    pub(super) fn check(&self, pointer: &str, checks: &mut Checks) {
        checks.decimal(
            format!("{pointer}/temperature_c"),
            self.temperature_c,
            TEMPERATURE_C,
        );
        checks.decimal(format!("{pointer}/minutes"), self.minutes, MINUTES);
    }
}

/// An elastomer, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::ElastomerBody;
/// let elastomer: ElastomerBody = serde_json::from_value(serde_json::json!({
///     "code": "el-a", "name": "Elastomer A", "base": "base-a", "curing_agent": "agent-a",
///     "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.05",
///     "density_g_per_ml": "1.03", "viscosity_pa_s": "3.5", "pot_life_min": "90",
///     "cure": [{"temperature_c": "80", "minutes": "120"}]
/// }))?;
/// assert!(elastomer.check().is_empty());
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ElastomerBody {
    /// The code; it never changes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// The code of the base: a material of kind `elastomer_base`.
    pub base: Code,
    /// The code of the curing agent: a material of kind `curing_agent`.
    pub curing_agent: Code,
    /// The nominal ratio, parts by mass.
    pub ratio: RatioBody,
    /// How far the ratio may be off, relative to it, more than 0 and at most 0.5.
    pub ratio_tolerance: Micro,
    /// Density of the mix, in g/mL.
    pub density_g_per_ml: Micro,
    /// Viscosity of the fresh mix, in Pa s.
    pub viscosity_pa_s: Micro,
    /// How long the mix can be poured, in minutes.
    pub pot_life_min: Micro,
    /// At which temperatures it cures in which time; at least one point, one for each temperature.
    #[schema(min_items = 1, max_items = 50)]
    pub cure: Vec<CureBody>,
}

impl ElastomerBody {
    /// Everything wrong with the values, each with its pointer; empty when all is right.
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        self.ratio.check(&mut checks);
        checks.decimal("/ratio_tolerance", self.ratio_tolerance, TOLERANCE);
        checks.decimal("/density_g_per_ml", self.density_g_per_ml, DENSITY_G_PER_ML);
        checks.decimal("/viscosity_pa_s", self.viscosity_pa_s, VISCOSITY_PA_S);
        checks.decimal("/pot_life_min", self.pot_life_min, MINUTES);
        checks.length("/cure", self.cure.len(), 1, CURE_POINTS_MAX);
        for (at, point) in self.cure.iter().enumerate() {
            point.check(&format!("/cure/{at}"), &mut checks);
            let temperature_c = point.temperature_c;
            if self.cure[..at]
                .iter()
                .any(|earlier| earlier.temperature_c == temperature_c)
            {
                checks.wrong(
                    format!("/cure/{at}/temperature_c"),
                    format!("{temperature_c} is there twice: send one time for each temperature"),
                );
            }
        }
        checks.done()
    }
}

impl CatalogueBody for ElastomerBody {
    const NOUN: Noun = Noun::Elastomer;

    fn code(&self) -> &Code {
        &self.code
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn check(&self) -> Vec<FieldError> {
        self.check()
    }

    fn links(&self) -> Vec<Link> {
        vec![
            Link::material("base", &self.base, &[MaterialKind::ElastomerBase]),
            Link::material(
                "curing_agent",
                &self.curing_agent,
                &[MaterialKind::CuringAgent],
            ),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::merge_patch;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let whole = json!({
            "code": "el-a", "name": "Elastomer A", "base": "base-a", "curing_agent": "agent-a",
            "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.05",
            "density_g_per_ml": "1.03", "viscosity_pa_s": "3.5", "pot_life_min": 90,
            "cure": [{"temperature_c": 25, "minutes": 2880}, {"temperature_c": "80", "minutes": "120"}]
        });
        let body: ElastomerBody = serde_json::from_value(merge_patch(whole, patch)).unwrap();
        let found: Vec<String> = body.check().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn bounds() {
        check(json!({}), &[]);
        check(json!({"ratio_tolerance": "0.5"}), &[]);
        check(
            json!({"ratio": {"base": "0", "curing_agent": "-1"}, "ratio_tolerance": "0.500001",
                "density_g_per_ml": "26", "viscosity_pa_s": "0", "pot_life_min": "0", "cure": []}),
            &[
                "/ratio/base",
                "/ratio/curing_agent",
                "/ratio_tolerance",
                "/density_g_per_ml",
                "/viscosity_pa_s",
                "/pot_life_min",
                "/cure",
            ],
        );
        check(json!({"ratio_tolerance": "0"}), &["/ratio_tolerance"]);
    }

    #[test]
    fn a_temperature_has_one_time() {
        check(
            json!({"cure": [{"temperature_c": "80", "minutes": "120"}, {"temperature_c": "80.0", "minutes": "0"}]}),
            &["/cure/1/minutes", "/cure/1/temperature_c"],
        );
    }
}
