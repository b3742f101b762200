//! A recipe: how one kind of chip is cast.
//!
//! Invariants: everything it uses is named by code; each default of ours stands in one accessor here and is labelled.
//! Deliberately absent: the sums (the casting room), and the level a mold, a tape and a chip reach in the tray.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{
    COUNT_MAX, Checks, FRACTION, LENGTH_MM, LENGTH_OR_0_MM, MASS_G, MASS_OR_0_G, MINUTES_OR_0,
    QUANTILE, QUANTITY, Range, null_as_default,
};
use super::elastomer::{CureBody, RatioBody};
use super::kind::MaterialKind;
use super::noun::{CatalogueBody, Link, Noun};
use crate::base::{Code, FieldError, Micro, Quantity};

/// What is poured beyond the fill, as a share of it, unless said: 0.05 (*assumption*).
pub const OVERFILL_DEFAULT: Micro = Micro::from_micro(50_000);
/// The step of the balance, in g, unless said: 0.01 (*assumption*).
pub const BALANCE_READABILITY_G_DEFAULT: Micro = Micro::from_micro(10_000);
/// What a strip of tape is longer than the side it covers, in mm, unless said: 10 (*assumption*).
pub const TRIM_ALLOWANCE_MM_DEFAULT: Micro = Micro::from_int(10);
/// Minutes from the end of mixing to the first pour, unless said: 5 (*assumption*).
pub const PREP_MIN_DEFAULT: Micro = Micro::from_int(5);
/// Minutes to pour one tray, unless said: 2 (*assumption*).
pub const POUR_MIN_PER_CONTAINER_DEFAULT: Micro = Micro::from_int(2);
/// The quantile of the residue that a plan allows for, unless said: 0.90 (*assumption*).
pub const RESIDUE_QUANTILE_DEFAULT: Micro = Micro::from_micro(900_000);
/// How often a taped mold is cast before it is taped again, unless said: 1.
pub const CASTS_PER_SETUP_DEFAULT: u32 = 1;

const DRAIN_TIME_S: Range = Range::above_0(86_400, "s");
const READABILITY_G: Range = Range::above_0(100, "g");
const OVEN_CONTAINERS_MAX: u32 = 10_000;
const EXTRAS_MAX: usize = 100;

/// What an amount was gauged with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GaugeOf {
    /// The base alone, weighed out for the mix.
    Base,
    /// The mix of base and curing agent.
    Mix,
    /// Water.
    Water,
}

/// An amount gauged at the bench in a spare, identical tray.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GaugeBody {
    /// The mass that reached the level, in g.
    pub mass_g: Quantity,
    /// What was poured.
    pub of: GaugeOf,
    /// Whether the mold was in the tray.
    pub mold_in: bool,
    /// The level above the tray's floor, in mm.
    pub level_mm: Micro,
}

/// How base and curing agent are weighed into the cup.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WeighingBody {
    /// The balance is set to zero before each part, or tare and gross are read for each.
    #[default]
    TareAndGross,
    /// The curing agent is weighed on top of the base, without setting to zero in between.
    Cumulative,
}

/// Where the mix is de-gassed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DegasIn {
    /// In the cup, before it is poured.
    #[default]
    Cup,
    /// In the tray, after it was poured.
    Container,
}

/// What an extra is counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ExtraPer {
    /// Once for the cast.
    Cast,
    /// For each cup of mix.
    Batch,
    /// For each tray.
    Container,
    /// For each chip position.
    Chip,
}

/// Something else that a cast uses up: stirrers, gloves, wipes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExtraBody {
    /// The code of the material.
    pub material: Code,
    /// How much of it, in its unit.
    pub quantity: Quantity,
    /// What it is counted by.
    pub per: ExtraPer,
}

/// A recipe, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::RecipeBody;
/// let recipe: RecipeBody = serde_json::from_value(serde_json::json!({
///     "code": "chip-a", "name": "Chip A", "elastomer": "el-a", "mold": "mold-a", "container": "tray-a",
///     "cup": "cup-a", "chip_thickness_mm": "4", "drain_time_s": "60"
/// }))?;
/// assert!(recipe.check().is_empty());
/// assert_eq!(recipe.overfill().to_string(), "0.05");
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecipeBody {
    /// The code; it never changes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// The code of the elastomer.
    pub elastomer: Code,
    /// The code of the mold.
    pub mold: Code,
    /// The code of the tray: a material of kind `container`.
    pub container: Code,
    /// The code of the cup: a material of kind `mixing_cup` or `container`.
    pub cup: Code,
    /// The code of the tape under the mold, if there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape: Option<Code>,
    /// The code of the release agent, if the mold is coated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub release_agent: Option<Code>,
    /// The thickness of the elastomer over the mold, in mm.
    pub chip_thickness_mm: Micro,
    /// What is poured beyond the fill, as a share of it, 0 to 1; 0.05 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub overfill: Option<Micro>,
    /// How long the cup drains into the tray, in seconds.
    pub drain_time_s: Micro,
    /// What stays on the stirrer of each cup, in g; 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stirrer_loss_g: Option<Micro>,
    /// Parts by mass, when they differ from the elastomer's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ratio: Option<RatioBody>,
    /// The step of the balance, in g; 0.01 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub balance_readability_g: Option<Micro>,
    /// How base and curing agent are weighed; `tare_and_gross` unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weighing: Option<WeighingBody>,
    /// Where the mix is de-gassed: it needs room for its foam there; in the `cup` unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degas_in: Option<DegasIn>,
    /// What a strip of tape is longer than the side it covers, in mm; 10 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trim_allowance_mm: Option<Micro>,
    /// How often a taped mold is cast before it is taped again; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub casts_per_setup: Option<u32>,
    /// Minutes from the end of mixing to the first pour, de-gassing included; 5 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prep_min: Option<Micro>,
    /// Minutes to pour one tray; 2 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pour_min_per_container: Option<Micro>,
    /// How many trays the oven takes at once; as many as there are unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 10_000)]
    pub oven_containers: Option<u32>,
    /// The quantile of the residue that a plan allows for, 0.5 to 0.9999; 0.90 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub residue_quantile: Option<Micro>,
    /// The fill as it was gauged at the bench, if it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<GaugeBody>,
    /// What else a cast uses up.
    #[serde(
        default,
        deserialize_with = "null_as_default",
        skip_serializing_if = "Vec::is_empty"
    )]
    #[schema(max_items = 100)]
    pub extras: Vec<ExtraBody>,
    /// How it is cured; the elastomer's first cure point unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cure: Option<CureBody>,
}

impl RecipeBody {
    /// What is poured beyond the fill, as a share of it.
    #[must_use]
    pub fn overfill(&self) -> Micro {
        self.overfill.unwrap_or(OVERFILL_DEFAULT)
    }

    /// What stays on the stirrer of each cup, in g.
    #[must_use]
    pub fn stirrer_loss_g(&self) -> Micro {
        self.stirrer_loss_g.unwrap_or(Micro::ZERO)
    }

    /// The step of the balance, in g.
    #[must_use]
    pub fn balance_readability_g(&self) -> Micro {
        self.balance_readability_g
            .unwrap_or(BALANCE_READABILITY_G_DEFAULT)
    }

    /// How base and curing agent are weighed.
    #[must_use]
    pub fn weighing(&self) -> WeighingBody {
        self.weighing.unwrap_or_default()
    }

    /// Where the mix is de-gassed.
    #[must_use]
    pub fn degas_in(&self) -> DegasIn {
        self.degas_in.unwrap_or_default()
    }

    /// What a strip of tape is longer than the side it covers, in mm.
    #[must_use]
    pub fn trim_allowance_mm(&self) -> Micro {
        self.trim_allowance_mm.unwrap_or(TRIM_ALLOWANCE_MM_DEFAULT)
    }

    /// How often a taped mold is cast before it is taped again, at least once.
    #[must_use]
    pub fn casts_per_setup(&self) -> u32 {
        self.casts_per_setup.unwrap_or(CASTS_PER_SETUP_DEFAULT)
    }

    /// Minutes from the end of mixing to the first pour.
    #[must_use]
    pub fn prep_min(&self) -> Micro {
        self.prep_min.unwrap_or(PREP_MIN_DEFAULT)
    }

    /// Minutes to pour one tray.
    #[must_use]
    pub fn pour_min_per_container(&self) -> Micro {
        self.pour_min_per_container
            .unwrap_or(POUR_MIN_PER_CONTAINER_DEFAULT)
    }

    /// The quantile of the residue that a plan allows for.
    #[must_use]
    pub fn residue_quantile(&self) -> Micro {
        self.residue_quantile.unwrap_or(RESIDUE_QUANTILE_DEFAULT)
    }

    /// Everything wrong with the values, each with its pointer; empty when all is right.
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        checks.decimal("/chip_thickness_mm", self.chip_thickness_mm, LENGTH_MM);
        checks.decimal_if("/overfill", self.overfill, FRACTION);
        checks.decimal("/drain_time_s", self.drain_time_s, DRAIN_TIME_S);
        checks.decimal_if("/stirrer_loss_g", self.stirrer_loss_g, MASS_OR_0_G);
        if let Some(ratio) = &self.ratio {
            ratio.check(&mut checks);
        }
        checks.decimal_if(
            "/balance_readability_g",
            self.balance_readability_g,
            READABILITY_G,
        );
        checks.decimal_if("/trim_allowance_mm", self.trim_allowance_mm, LENGTH_OR_0_MM);
        checks.count_if("/casts_per_setup", self.casts_per_setup, 1, COUNT_MAX);
        checks.decimal_if("/prep_min", self.prep_min, MINUTES_OR_0);
        checks.decimal_if(
            "/pour_min_per_container",
            self.pour_min_per_container,
            MINUTES_OR_0,
        );
        checks.count_if(
            "/oven_containers",
            self.oven_containers,
            1,
            OVEN_CONTAINERS_MAX,
        );
        checks.decimal_if("/residue_quantile", self.residue_quantile, QUANTILE);
        if let Some(gauge) = &self.gauge {
            checks.decimal("/gauge/mass_g", gauge.mass_g, MASS_G);
            checks.decimal("/gauge/level_mm", gauge.level_mm, LENGTH_MM);
        }
        self.check_extras(&mut checks);
        if let Some(cure) = &self.cure {
            cure.check("/cure", &mut checks);
        }
        checks.done()
    }

    fn check_extras(&self, checks: &mut Checks) {
        checks.length("/extras", self.extras.len(), 0, EXTRAS_MAX);
        for (at, extra) in self.extras.iter().enumerate() {
            checks.decimal(format!("/extras/{at}/quantity"), extra.quantity, QUANTITY);
            let same =
                |other: &ExtraBody| other.material == extra.material && other.per == extra.per;
            if self.extras[..at].iter().any(same) {
                checks.wrong(
                    format!("/extras/{at}/material"),
                    format!(
                        "\"{}\" is there twice with the same `per`: send one entry with the sum",
                        extra.material
                    ),
                );
            }
        }
    }
}

/// What an extra may be: anything but the two parts of an elastomer, which are weighed into a cup.
const EXTRA_KINDS: &[MaterialKind] = &[
    MaterialKind::Sundry,
    MaterialKind::ReleaseAgent,
    MaterialKind::Container,
    MaterialKind::MixingCup,
    MaterialKind::Tape,
];

impl CatalogueBody for RecipeBody {
    const NOUN: Noun = Noun::Recipe;

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
        let mut links = vec![
            Link::to("elastomer", Noun::Elastomer, &self.elastomer),
            Link::to("mold", Noun::Mold, &self.mold),
            Link::material("container", &self.container, &[MaterialKind::Container]),
            Link::material(
                "cup",
                &self.cup,
                &[MaterialKind::MixingCup, MaterialKind::Container],
            ),
        ];
        if let Some(tape) = &self.tape {
            links.push(Link::material("tape", tape, &[MaterialKind::Tape]));
        }
        if let Some(agent) = &self.release_agent {
            links.push(Link::material(
                "release_agent",
                agent,
                &[MaterialKind::ReleaseAgent],
            ));
        }
        for (at, extra) in self.extras.iter().enumerate() {
            let role = extra_role(at);
            links.push(Link::material(role, &extra.material, EXTRA_KINDS));
        }
        links
    }
}

/// The role of the extra at a place of the list.
pub(super) fn extra_role(at: usize) -> String {
    format!("extras/{at}/material")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::merge_patch;
    use serde_json::{Value, json};

    fn recipe(patch: Value) -> RecipeBody {
        let whole = json!({
            "code": "chip-a", "name": "Chip A", "elastomer": "el-a", "mold": "mold-a", "container": "tray-a",
            "cup": "cup-a", "chip_thickness_mm": "4", "drain_time_s": 60
        });
        serde_json::from_value(merge_patch(whole, patch)).unwrap()
    }

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let found: Vec<String> = recipe(patch)
            .check()
            .into_iter()
            .map(|e| e.pointer)
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn bounds() {
        check(json!({}), &[]);
        check(
            json!({"chip_thickness_mm": "0", "overfill": "1.1", "drain_time_s": "0", "stirrer_loss_g": "-1",
                "ratio": {"base": "0", "curing_agent": "1"}, "balance_readability_g": "0",
                "trim_allowance_mm": "-1", "casts_per_setup": 0, "prep_min": "-1",
                "pour_min_per_container": "-1", "oven_containers": 0, "residue_quantile": "1",
                "gauge": {"mass_g": "0", "of": "water", "mold_in": true, "level_mm": "0"},
                "cure": {"temperature_c": "-1", "minutes": "0"}}),
            &[
                "/chip_thickness_mm",
                "/overfill",
                "/drain_time_s",
                "/stirrer_loss_g",
                "/ratio/base",
                "/balance_readability_g",
                "/trim_allowance_mm",
                "/casts_per_setup",
                "/prep_min",
                "/pour_min_per_container",
                "/oven_containers",
                "/residue_quantile",
                "/gauge/mass_g",
                "/gauge/level_mm",
                "/cure/temperature_c",
                "/cure/minutes",
            ],
        );
    }

    #[test]
    fn an_extra_is_named_once_for_each_count() {
        let extra = |per: &str, quantity: &str| json!({"material": "glove", "quantity": quantity, "per": per});
        check(
            json!({"extras": [extra("cast", "2"), extra("batch", "1")]}),
            &[],
        );
        check(
            json!({"extras": [extra("cast", "0"), extra("cast", "1")]}),
            &["/extras/0/quantity", "/extras/1/material"],
        );
    }

    #[test]
    fn links_point_to_where_they_are_written() {
        let named = recipe(json!({"tape": "tape-a", "release_agent": "ra",
            "extras": [{"material": "stick", "quantity": "1", "per": "batch"}]}));
        let pointers: Vec<String> = named.links().iter().map(Link::pointer).collect();
        assert_eq!(
            pointers,
            [
                "/elastomer",
                "/mold",
                "/container",
                "/cup",
                "/tape",
                "/release_agent",
                "/extras/0/material"
            ]
        );
    }

    #[test]
    fn what_is_left_out_stays_out_of_the_document() {
        let written = serde_json::to_value(recipe(json!({}))).unwrap();
        assert_eq!(written.as_object().map(serde_json::Map::len), Some(8));
    }
}
