//! A material: something bought and kept.
//!
//! Invariants: the kind decides the units it may be kept in and whether it has the figures of a vessel or of a tape;
//! kind and unit never change, since what is in the books is counted in them. Deliberately absent: stock.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{
    COUNT_MAX, Checks, DAYS_MAX, DENSITY_G_PER_ML, MASS_OR_0_G, QUANTITY, QUANTITY_OR_0,
    TEMPERATURE_C, null_as_default,
};
use super::kind::MaterialKind;
use super::noun::{CatalogueBody, Noun, unchanged};
use super::terms::{ReorderTerms, ServiceMeasure, StatedTerms};
use super::vessel::{TapeBody, VesselBody};
use crate::base::{Code, FieldError, Micro, Money, Quantity, Unit};

/// How many molds one vial of release agent coats, unless said: 1 (*assumption*).
pub const MOLDS_PER_VIAL_DEFAULT: u32 = 1;

/// The most hazard statements of one material.
const HAZARD_STATEMENTS_MAX: usize = 100;

/// A material, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::MaterialBody;
/// let material: MaterialBody = serde_json::from_value(serde_json::json!(
///     {"code": "base-a", "name": "Base A", "kind": "elastomer_base", "unit": "g", "lead_time_days": 14}
/// ))?;
/// assert!(material.check().is_empty());
/// assert_eq!(material.reorder_terms().lead_time_days, Some(14));
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MaterialBody {
    /// The code; it never changes, and materials and kits share one set of codes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// What it is for; it never changes.
    pub kind: MaterialKind,
    /// The unit it is kept in; it never changes.
    pub unit: Unit,
    /// Density, in g/mL, if known: it turns grams into millilitres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density_g_per_ml: Option<Micro>,
    /// Days from ordering to arrival, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 36_500)]
    pub lead_time_days: Option<u32>,
    /// The probability that stock should last until an order arrives, 0.5 to 0.9999; 0.95 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service_level: Option<Micro>,
    /// What the service level is a share of: `cycle` (the times an order is waited for) unless said, or `fill_rate` (what is
    /// asked for).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service_measure: Option<ServiceMeasure>,
    /// What one pack usually holds, in the material's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_quantity: Option<Quantity>,
    /// Days that a pack is good once it was opened, if it is limited.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 36_500)]
    pub open_life_days: Option<u32>,
    /// What will not come out of a pack, in the material's unit; 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heel: Option<Quantity>,
    /// What is used in a month as far as one can tell, for as long as there is no history.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stated_use_per_month: Option<Quantity>,
    /// What one order costs besides the goods, in the base currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_cost: Option<Money>,
    /// What keeping stock for a year costs, as a share of its value, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub holding_rate: Option<Micro>,
    /// The least packs that can be ordered; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub min_packs: Option<u32>,
    /// Days between two looks at the stock; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 36_500)]
    pub review_days: Option<u32>,
    /// Working days that an approval takes before an order goes out; 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(maximum = 36_500)]
    pub approval_days: Option<u32>,
    /// Days from receipt to expiry that can be counted on, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 36_500)]
    pub shelf_life_days: Option<u32>,
    /// For a release agent: how many molds one vial coats; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub molds_per_vial: Option<u32>,
    /// The temperature it stands, in degrees Celsius, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_temperature_c: Option<Micro>,
    /// GHS hazard statements from the material's own safety data sheet, such as `H225`.
    #[serde(
        default,
        deserialize_with = "null_as_default",
        skip_serializing_if = "Vec::is_empty"
    )]
    #[schema(max_items = 100)]
    pub hazard_statements: Vec<String>,
    /// The mass of an empty pack, in g, if known: an opened pack can then be counted by weighing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tare_g: Option<Quantity>,
    /// For a container or a mixing cup: its inside.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub container: Option<VesselBody>,
    /// For a tape: its figures.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape: Option<TapeBody>,
}

impl MaterialBody {
    /// What will not come out of a pack, in the material's unit.
    #[must_use]
    pub fn heel(&self) -> Quantity {
        self.heel.unwrap_or(Quantity::ZERO)
    }

    /// How many molds one vial coats, at least 1.
    #[must_use]
    pub fn molds_per_vial(&self) -> u32 {
        self.molds_per_vial.unwrap_or(MOLDS_PER_VIAL_DEFAULT)
    }

    /// The temperature it stands, in degrees Celsius: a vessel's own figure, or else the material's.
    #[must_use]
    pub fn temperature_limit_c(&self) -> Option<Micro> {
        self.container
            .as_ref()
            .and_then(|vessel| vessel.max_temperature_c)
            .or(self.max_temperature_c)
    }

    /// Whether it comes back after a use.
    #[must_use]
    pub fn is_durable(&self) -> bool {
        self.container.as_ref().is_some_and(VesselBody::is_durable)
    }

    /// The terms on which it is ordered, with our defaults.
    #[must_use]
    pub fn reorder_terms(&self) -> ReorderTerms {
        self.stated_terms().filled()
    }

    fn stated_terms(&self) -> StatedTerms {
        StatedTerms {
            lead_time_days: self.lead_time_days,
            service_level: self.service_level,
            service_measure: self.service_measure,
            order_cost: self.order_cost,
            holding_rate: self.holding_rate,
            min_packs: self.min_packs,
            review_days: self.review_days,
            approval_days: self.approval_days,
            shelf_life_days: self.shelf_life_days,
        }
    }

    /// Everything wrong with the values, each with its pointer; empty when all is right.
    ///
    /// ```
    /// use heeltap::catalogue::MaterialBody;
    /// let material: MaterialBody = serde_json::from_value(serde_json::json!(
    ///     {"code": "tape-1", "name": "Tape", "kind": "tape", "unit": "g"}
    /// ))?;
    /// let faults = material.check();
    /// assert_eq!(faults[0].detail, "\"g\" does not fit a tape: send \"m\"");
    /// assert_eq!(faults[1].pointer, "/tape");
    /// # Ok::<(), serde_json::Error>(())
    /// ```
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        self.check_kind(&mut checks);
        checks.decimal_if("/density_g_per_ml", self.density_g_per_ml, DENSITY_G_PER_ML);
        checks.decimal_if("/pack_quantity", self.pack_quantity, QUANTITY);
        checks.count_if("/open_life_days", self.open_life_days, 0, DAYS_MAX);
        checks.decimal_if("/heel", self.heel, QUANTITY_OR_0);
        if let Some(pack) = self.pack_quantity.filter(|pack| self.heel() >= *pack) {
            checks.wrong(
                "/heel",
                format!(
                    "{} is out of range: send less than the pack's {pack}",
                    self.heel()
                ),
            );
        }
        checks.decimal_if(
            "/stated_use_per_month",
            self.stated_use_per_month,
            QUANTITY_OR_0,
        );
        self.stated_terms().check(&mut checks);
        checks.count_if("/molds_per_vial", self.molds_per_vial, 1, COUNT_MAX);
        checks.decimal_if("/max_temperature_c", self.max_temperature_c, TEMPERATURE_C);
        checks.decimal_if("/tare_g", self.tare_g, MASS_OR_0_G);
        self.check_hazards(&mut checks);
        checks.done()
    }

    /// The kind decides the unit and which figures belong.
    fn check_kind(&self, checks: &mut Checks) {
        let kind = self.kind.as_str();
        let units = self.kind.units();
        if !units.contains(&self.unit) {
            let words: Vec<String> = units.iter().map(|unit| format!("\"{unit}\"")).collect();
            let detail = format!(
                "\"{}\" does not fit a {kind}: send {}",
                self.unit,
                words.join(" or ")
            );
            checks.wrong("/unit", detail);
        }
        match (&self.container, self.kind.is_vessel()) {
            (Some(vessel), true) => vessel.check(checks),
            (None, true) => checks.wrong(
                "/container",
                format!("it is missing: a {kind} needs its inside, such as {{\"shape\": \"round\", \"diameter_mm\": \"88\", \"depth_mm\": \"14\"}}"),
            ),
            (Some(_), false) => checks.wrong(
                "/container",
                format!("a {kind} has none: leave it out, or send the kind container or mixing_cup"),
            ),
            (None, false) => {}
        }
        match (&self.tape, self.kind == MaterialKind::Tape) {
            (Some(tape), true) => tape.check(checks),
            (None, true) => checks.wrong(
                "/tape",
                "it is missing: a tape needs {\"width_mm\": …, \"thickness_mm\": …}",
            ),
            (Some(_), false) => checks.wrong(
                "/tape",
                format!("a {kind} has none: leave it out, or send the kind tape"),
            ),
            (None, false) => {}
        }
        if self.molds_per_vial.is_some() && self.kind != MaterialKind::ReleaseAgent {
            checks.wrong(
                "/molds_per_vial",
                format!("a {kind} has none: leave it out, or send the kind release_agent"),
            );
        }
    }

    fn check_hazards(&self, checks: &mut Checks) {
        let count = self.hazard_statements.len();
        checks.length("/hazard_statements", count, 0, HAZARD_STATEMENTS_MAX);
        for (at, statement) in self.hazard_statements.iter().enumerate() {
            if !is_hazard_statement(statement) {
                let shown: String = statement.chars().take(40).collect();
                checks.wrong(
                    format!("/hazard_statements/{at}"),
                    format!(
                        "{shown:?} is not a hazard statement: send a code such as \"H225\", \"EUH066\" or \"H301+H311\""
                    ),
                );
            }
        }
    }
}

/// Whether a text is a GHS hazard statement's code, `H225`, `H360FD` or `EUH066`, or several joined by `+`.
///
/// ```
/// use heeltap::catalogue::is_hazard_statement;
/// assert!(is_hazard_statement("H301+H311"));
/// assert!(!is_hazard_statement("P210"));
/// ```
#[must_use]
pub fn is_hazard_statement(text: &str) -> bool {
    text.len() <= 64
        && text.split('+').all(|part| {
            let rest = part.strip_prefix("EU").unwrap_or(part);
            rest.strip_prefix('H').is_some_and(|rest| {
                let (digits, letters) = rest.split_at_checked(3).unwrap_or(("", rest));
                digits.len() == 3
                    && digits.bytes().all(|b| b.is_ascii_digit())
                    && letters.bytes().all(|b| b.is_ascii_alphabetic())
            })
        })
}

impl CatalogueBody for MaterialBody {
    const NOUN: Noun = Noun::Material;

    fn code(&self) -> &Code {
        &self.code
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn check(&self) -> Vec<FieldError> {
        self.check()
    }

    fn fixed(&self, before: &Self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        let advice = "create another material";
        unchanged(&mut faults, "/kind", &before.kind, &self.kind, advice);
        unchanged(&mut faults, "/unit", &before.unit, &self.unit, advice);
        faults
    }

    fn stock(&self) -> Option<(MaterialKind, Unit)> {
        Some((self.kind, self.unit))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::merge_patch;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let sundry = json!({"code": "m-1", "name": "M", "kind": "sundry", "unit": "each"});
        let material: MaterialBody = serde_json::from_value(merge_patch(sundry, patch)).unwrap();
        let found: Vec<String> = material.check().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn the_kind_decides_the_unit() {
        for (kind, unit, expected) in [
            ("sundry", "mL", &[][..]),
            ("elastomer_base", "mL", &["/unit"]),
            ("curing_agent", "g", &[]),
            ("release_agent", "m", &["/unit"]),
            ("release_agent", "each", &[]),
            ("container", "g", &["/unit", "/container"]),
            ("mixing_cup", "each", &["/container"]),
            ("tape", "each", &["/unit", "/tape"]),
        ] {
            check(json!({"kind": kind, "unit": unit}), expected);
        }
    }

    #[test]
    fn figures_belong_to_their_kind() {
        let tape = json!({"width_mm": "12", "thickness_mm": "0.05"});
        let dish = json!({"shape": "round", "diameter_mm": "88", "depth_mm": "14"});
        check(json!({"kind": "tape", "unit": "m", "tape": tape}), &[]);
        check(json!({"kind": "container", "container": dish}), &[]);
        check(
            json!({"container": dish, "tape": tape, "molds_per_vial": 3}),
            &["/container", "/tape", "/molds_per_vial"],
        );
        check(
            json!({"kind": "tape", "unit": "m", "tape": {"width_mm": "0", "thickness_mm": "-1"}}),
            &["/tape/width_mm", "/tape/thickness_mm"],
        );
    }

    #[test]
    fn bounds() {
        check(
            json!({"name": "", "density_g_per_ml": "0", "pack_quantity": "0", "open_life_days": 36_501,
                "heel": "-1", "stated_use_per_month": "-1", "lead_time_days": 36_501,
                "max_temperature_c": "1001", "tare_g": "-0.1"}),
            &[
                "/name",
                "/density_g_per_ml",
                "/pack_quantity",
                "/open_life_days",
                "/heel",
                "/stated_use_per_month",
                "/lead_time_days",
                "/max_temperature_c",
                "/tare_g",
            ],
        );
        check(json!({"pack_quantity": "100", "heel": "99.9"}), &[]);
        check(json!({"pack_quantity": "100", "heel": "100"}), &["/heel"]);
    }

    #[test]
    fn hazard_statements_are_codes() {
        check(json!({"hazard_statements": null}), &[]);
        check(
            json!({"hazard_statements": ["H225", "EUH066", "H360FD", "H301+H311+H331"]}),
            &[],
        );
        for bad in [
            "", "P210", "H22", "H225+", "h225", "EH225", "H225 ", "Hääé", "EUH",
        ] {
            check(
                json!({"hazard_statements": ["H225", bad]}),
                &["/hazard_statements/1"],
            );
        }
    }

    #[test]
    fn kind_and_unit_never_change() {
        let before: MaterialBody = serde_json::from_value(
            json!({"code": "m-1", "name": "M", "kind": "sundry", "unit": "each"}),
        )
        .unwrap();
        let after = MaterialBody {
            unit: Unit::G,
            name: "N".into(),
            ..before.clone()
        };
        assert_eq!(
            after.fixed(&before),
            [FieldError::new(
                "/unit",
                "\"g\" cannot replace \"each\": this field never changes; create another material"
            )]
        );
    }
}
