//! What a tray, a cup and a tape are, in the figures that the sums of casting need.
//!
//! Invariants: a rectangular vessel has a length and a width at its floor, a round one a diameter; nothing has both.
//! Deliberately absent: volumes (the casting room computes them).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{COUNT_MAX, Checks, LENGTH_MM, LENGTH_OR_0_MM, Range, TEMPERATURE_C};
use crate::base::Micro;

/// How full a cup may be before foam runs over while the mix is de-gassed, unless said: a third (*assumption*).
pub const FILL_LIMIT_DEFAULT: Micro = Micro::from_micro(333_333);
/// How full a cup may be when it is only stirred in, and de-gassed elsewhere, unless said: 0.8 (*assumption*).
const STIR_LIMIT_DEFAULT: Micro = Micro::from_micro(800_000);
/// How often a vessel is used, unless said: once.
pub const RATED_USES_DEFAULT: u32 = 1;

const DRAFT_DEG: Range = Range::from_0(45, "degrees");

/// The floor plan of a vessel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum VesselShape {
    /// A box: `length_mm` by `width_mm` at its floor.
    Rectangular,
    /// A dish or a cup: `diameter_mm` at its floor.
    Round,
}

/// The inside of a tray or a cup.
///
/// ```
/// use heeltap::catalogue::VesselBody;
/// let dish: VesselBody = serde_json::from_value(serde_json::json!(
///     {"shape": "round", "diameter_mm": "88", "depth_mm": "14"}
/// ))?;
/// assert_eq!(dish.draft_deg().to_string(), "0");
/// assert_eq!(dish.fill_limit().to_string(), "0.333333");
/// assert_eq!(dish.rated_uses(), 1);
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VesselBody {
    /// The floor plan.
    pub shape: VesselShape,
    /// Inner length at the floor, in mm; for a rectangular vessel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<Micro>,
    /// Inner width at the floor, in mm; for a rectangular vessel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<Micro>,
    /// Inner diameter at the floor, in mm; for a round vessel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diameter_mm: Option<Micro>,
    /// Inner depth from the floor to the rim, in mm.
    pub depth_mm: Micro,
    /// How far the walls lean outward, in degrees from the vertical, 0 to 45; 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub draft_deg: Option<Micro>,
    /// Radius of the corners of a rectangular floor, in mm; 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corner_radius_mm: Option<Micro>,
    /// The temperature it stands, in degrees Celsius, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_temperature_c: Option<Micro>,
    /// How often it can be used; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub rated_uses: Option<u32>,
    /// The share of its volume that may be filled with mix, more than 0 and at most 1. Unless said: a third where the mix is
    /// de-gassed, 0.8 in a cup that it is only stirred in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fill_limit: Option<Micro>,
}

impl VesselBody {
    /// How far the walls lean outward, in degrees from the vertical.
    #[must_use]
    pub fn draft_deg(&self) -> Micro {
        self.draft_deg.unwrap_or(Micro::ZERO)
    }

    /// The radius of the corners, in mm.
    #[must_use]
    pub fn corner_radius_mm(&self) -> Micro {
        self.corner_radius_mm.unwrap_or(Micro::ZERO)
    }

    /// How often it can be used, at least once.
    #[must_use]
    pub fn rated_uses(&self) -> u32 {
        self.rated_uses.unwrap_or(RATED_USES_DEFAULT)
    }

    /// Whether it comes back after a use.
    #[must_use]
    pub fn is_durable(&self) -> bool {
        self.rated_uses() > 1
    }

    /// The share of its volume that may be filled with mix that is de-gassed in it.
    #[must_use]
    pub fn fill_limit(&self) -> Micro {
        self.fill_limit.unwrap_or(FILL_LIMIT_DEFAULT)
    }

    /// The share of its volume that may be filled with mix that is only stirred in it.
    #[must_use]
    pub fn stir_limit(&self) -> Micro {
        self.fill_limit.unwrap_or(STIR_LIMIT_DEFAULT)
    }

    /// Adds what is wrong with it, under `/container`.
    pub(super) fn check(&self, checks: &mut Checks) {
        let at = |field: &str| format!("/container/{field}");
        checks.decimal_if(at("length_mm"), self.length_mm, LENGTH_MM);
        checks.decimal_if(at("width_mm"), self.width_mm, LENGTH_MM);
        checks.decimal_if(at("diameter_mm"), self.diameter_mm, LENGTH_MM);
        checks.decimal(at("depth_mm"), self.depth_mm, LENGTH_MM);
        checks.decimal_if(at("draft_deg"), self.draft_deg, DRAFT_DEG);
        checks.decimal_if(
            at("corner_radius_mm"),
            self.corner_radius_mm,
            LENGTH_OR_0_MM,
        );
        checks.decimal_if(
            at("max_temperature_c"),
            self.max_temperature_c,
            TEMPERATURE_C,
        );
        checks.count_if(at("rated_uses"), self.rated_uses, 1, COUNT_MAX);
        checks.decimal_if(at("fill_limit"), self.fill_limit, Range::above_0(1, ""));
        self.check_plan(checks);
    }

    fn check_plan(&self, checks: &mut Checks) {
        let rectangular = self.shape == VesselShape::Rectangular;
        let sides = [
            ("length_mm", self.length_mm, rectangular),
            ("width_mm", self.width_mm, rectangular),
            ("diameter_mm", self.diameter_mm, !rectangular),
        ];
        let shape = if rectangular { "rectangular" } else { "round" };
        for (field, value, wanted) in sides {
            let pointer = format!("/container/{field}");
            match value {
                None if wanted => checks.wrong(
                    pointer,
                    format!("it is missing: a {shape} vessel needs it, in mm at the floor"),
                ),
                Some(value) if !wanted => checks.wrong(
                    pointer,
                    format!("{value} does not belong here: a {shape} vessel has no {field}"),
                ),
                _ => {}
            }
        }
        let radius = self.corner_radius_mm();
        let side = match (self.length_mm, self.width_mm) {
            (Some(length), Some(width)) if rectangular => length.min(width),
            _ => Micro::ZERO,
        };
        if radius.micro().saturating_mul(2) > side.micro() && radius.is_positive() {
            checks.wrong(
                "/container/corner_radius_mm",
                format!(
                    "{radius} is too much: send at most half the shorter side of a rectangular vessel, and none for a round one"
                ),
            );
        }
    }
}

/// A tape, as it is cut into strips.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TapeBody {
    /// The width of the roll, in mm.
    pub width_mm: Micro,
    /// The thickness with its adhesive, in mm.
    pub thickness_mm: Micro,
}

impl TapeBody {
    /// Adds what is wrong with it, under `/tape`.
    pub(super) fn check(&self, checks: &mut Checks) {
        checks.decimal("/tape/width_mm", self.width_mm, LENGTH_MM);
        checks.decimal("/tape/thickness_mm", self.thickness_mm, LENGTH_MM);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[track_caller]
    fn check(vessel: serde_json::Value, expected: &[&str]) {
        let vessel: VesselBody = serde_json::from_value(vessel).unwrap();
        let mut checks = Checks::default();
        vessel.check(&mut checks);
        let found: Vec<String> = checks.done().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn a_shape_has_its_own_sides() {
        let round = json!({"shape": "round", "diameter_mm": "88", "depth_mm": "14"});
        check(round, &[]);
        check(
            json!({"shape": "rectangular", "length_mm": "80", "depth_mm": "14", "diameter_mm": "9"}),
            &["/container/width_mm", "/container/diameter_mm"],
        );
        check(
            json!({"shape": "round", "depth_mm": "14", "length_mm": "0"}),
            &[
                "/container/length_mm",
                "/container/length_mm",
                "/container/diameter_mm",
            ],
        );
    }

    #[test]
    fn corners_fit_the_floor() {
        let with = |radius: &str| json!({"shape": "rectangular", "length_mm": "80", "width_mm": "50", "depth_mm": "14", "corner_radius_mm": radius});
        check(with("25"), &[]);
        check(with("25.000001"), &["/container/corner_radius_mm"]);
        let round = json!({"shape": "round", "diameter_mm": "88", "depth_mm": "14", "corner_radius_mm": "1"});
        check(round, &["/container/corner_radius_mm"]);
    }

    #[test]
    fn bounds() {
        check(
            json!({"shape": "round", "diameter_mm": "10001", "depth_mm": "0", "draft_deg": "46",
                "max_temperature_c": "-1", "rated_uses": 0, "fill_limit": "0"}),
            &[
                "/container/diameter_mm",
                "/container/depth_mm",
                "/container/draft_deg",
                "/container/max_temperature_c",
                "/container/rated_uses",
                "/container/fill_limit",
            ],
        );
    }
}
