//! A mold: the master that is replicated.
//!
//! Invariants: cost and rated casts come together or not at all, and never change, since the cost is spread over the
//! casts as they happen. Deliberately absent: coats and wear (the casting room keeps them).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::check::{AMOUNT, COUNT_MAX, Checks, LENGTH_MM, Range, TEMPERATURE_C};
use super::noun::{CatalogueBody, Noun, PoolFill, unchanged};
use crate::base::{Code, FieldError, INPUT_MAX_UNITS, Micro, Money};

/// How many copies of a mold there are, unless said.
pub const COPIES_DEFAULT: u32 = 1;
/// How many casts a release coat lasts, unless said: 1 (*assumption*).
pub const COAT_LIFE_CASTS_DEFAULT: u32 = 1;

const COPIES_MAX: u32 = 1_000;
const CHIPS_MAX: u32 = 10_000;
const ENGRAVED_MM3: Range = Range::between(
    Micro::from_micro(-INPUT_MAX_UNITS * 1_000_000),
    Micro::from_micro(INPUT_MAX_UNITS * 1_000_000),
    "mm3",
);

/// A mold, as it is sent and kept.
///
/// ```
/// use heeltap::catalogue::MoldBody;
/// let mold: MoldBody = serde_json::from_value(serde_json::json!(
///     {"code": "mold-a", "name": "Mold A", "length_mm": "76", "width_mm": "26", "thickness_mm": "3", "chips": 4}
/// ))?;
/// assert!(mold.check().is_empty());
/// assert_eq!((mold.copies(), mold.coat_life_casts()), (1, 1));
/// # Ok::<(), serde_json::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MoldBody {
    /// The code; it never changes.
    pub code: Code,
    /// The name, 1 to 200 characters.
    #[schema(
        min_length = 1,
        max_length = 200,
        pattern = r"^[^\x00-\x1f\x7f-\x9f]*[^\x00-\x1f\x7f-\x9f\s][^\x00-\x1f\x7f-\x9f]*$"
    )]
    pub name: String,
    /// Length of the mold's footprint, in mm.
    pub length_mm: Micro,
    /// Width of the mold's footprint, in mm.
    pub width_mm: Micro,
    /// Thickness of the mold, in mm.
    pub thickness_mm: Micro,
    /// How many chips one copy gives in one cast.
    #[schema(minimum = 1, maximum = 10_000)]
    pub chips: u32,
    /// How many copies of the mold there are; 1 unless said. It never changes once there is a cost.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000)]
    pub copies: Option<u32>,
    /// The volume of the features, in mm3: positive when they are cut into the mold, negative when they stand on it;
    /// 0 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub engraved_volume_mm3: Option<Micro>,
    /// How many casts a release coat lasts; 1 unless said.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub coat_life_casts: Option<u32>,
    /// The temperature it stands, in degrees Celsius, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_temperature_c: Option<Micro>,
    /// What one copy cost, in the base currency; it comes with `rated_casts` and never changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<Money>,
    /// How many casts one copy is good for; it comes with `cost` and never changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub rated_casts: Option<u32>,
}

impl MoldBody {
    /// How many copies there are, at least 1.
    #[must_use]
    pub fn copies(&self) -> u32 {
        self.copies.unwrap_or(COPIES_DEFAULT)
    }

    /// The volume of the features, in mm3: positive when cut in, negative when raised.
    #[must_use]
    pub fn engraved_volume_mm3(&self) -> Micro {
        self.engraved_volume_mm3.unwrap_or(Micro::ZERO)
    }

    /// How many casts a release coat lasts, at least 1.
    #[must_use]
    pub fn coat_life_casts(&self) -> u32 {
        self.coat_life_casts.unwrap_or(COAT_LIFE_CASTS_DEFAULT)
    }

    /// Everything wrong with the values, each with its pointer; empty when all is right.
    #[must_use]
    pub fn check(&self) -> Vec<FieldError> {
        let mut checks = Checks::of_name(&self.name);
        checks.decimal("/length_mm", self.length_mm, LENGTH_MM);
        checks.decimal("/width_mm", self.width_mm, LENGTH_MM);
        checks.decimal("/thickness_mm", self.thickness_mm, LENGTH_MM);
        checks.count_if("/chips", Some(self.chips), 1, CHIPS_MAX);
        checks.count_if("/copies", self.copies, 1, COPIES_MAX);
        checks.decimal_if(
            "/engraved_volume_mm3",
            self.engraved_volume_mm3,
            ENGRAVED_MM3,
        );
        if self.is_hollow() {
            checks.wrong(
                "/engraved_volume_mm3",
                format!(
                    "{} is out of range: send less than the mold's own length x width x thickness",
                    self.engraved_volume_mm3()
                ),
            );
        }
        checks.count_if("/coat_life_casts", self.coat_life_casts, 1, COUNT_MAX);
        checks.decimal_if("/max_temperature_c", self.max_temperature_c, TEMPERATURE_C);
        checks.decimal_if("/cost", self.cost, AMOUNT);
        checks.count_if("/rated_casts", self.rated_casts, 1, COUNT_MAX);
        match (self.cost, self.rated_casts) {
            (Some(_), None) => checks.wrong(
                "/rated_casts",
                "it is missing: a cost needs the casts over which it is spread",
            ),
            (None, Some(_)) => checks.wrong(
                "/cost",
                "it is missing: rated casts need the cost that is spread over them",
            ),
            _ => {}
        }
        if let Err(fault) = self.pool() {
            checks.wrong(fault.pointer, fault.detail);
        }
        checks.done()
    }

    /// Whether the features would leave nothing of the mold. Sides are compared as millionths, the volume as
    /// millionths of a mm3, both in 128 bits.
    fn is_hollow(&self) -> bool {
        let side = |value: Micro| i128::from(value.micro());
        // Three sides at 10^16 millionths together reach 10^48, beyond 128 bits: one division comes first.
        let footprint = side(self.length_mm) * side(self.width_mm) / 1_000_000;
        let engraved = side(self.engraved_volume_mm3());
        footprint
            .checked_mul(side(self.thickness_mm))
            .is_some_and(|volume| engraved > 0 && engraved >= volume / 1_000_000)
    }
}

impl CatalogueBody for MoldBody {
    const NOUN: Noun = Noun::Mold;

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
        let advice = "retire this mold and create a new one";
        unchanged(&mut faults, "/cost", &before.cost, &self.cost, advice);
        unchanged(
            &mut faults,
            "/rated_casts",
            &before.rated_casts,
            &self.rated_casts,
            advice,
        );
        if before.cost.is_some() {
            unchanged(
                &mut faults,
                "/copies",
                &before.copies(),
                &self.copies(),
                advice,
            );
        }
        faults
    }

    fn pool(&self) -> Result<Option<PoolFill>, FieldError> {
        let (Some(cost), Some(rated_casts)) = (self.cost, self.rated_casts) else {
            return Ok(None);
        };
        let copies = i64::from(self.copies());
        let value = cost
            .mul_div_half_even(copies, 1)
            .map_err(|error| FieldError::new("/cost", error.to_string()))?;
        let uses = i64::from(rated_casts) * copies;
        Ok(Some(PoolFill { value, uses }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::merge_patch;
    use serde_json::{Value, json};

    fn mold(patch: Value) -> MoldBody {
        let whole = json!({"code": "mold-a", "name": "Mold A", "length_mm": "76", "width_mm": "26", "thickness_mm": "3", "chips": 4});
        serde_json::from_value(merge_patch(whole, patch)).unwrap()
    }

    #[track_caller]
    fn check(patch: Value, expected: &[&str]) {
        let found: Vec<String> = mold(patch).check().into_iter().map(|e| e.pointer).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn bounds() {
        check(json!({}), &[]);
        check(
            json!({"length_mm": "0", "width_mm": "10001", "thickness_mm": "-3", "chips": 0, "copies": 0,
                "coat_life_casts": 0, "max_temperature_c": "1001", "cost": "-1", "rated_casts": 0}),
            &[
                "/length_mm",
                "/width_mm",
                "/thickness_mm",
                "/chips",
                "/copies",
                "/coat_life_casts",
                "/max_temperature_c",
                "/cost",
                "/rated_casts",
            ],
        );
    }

    #[test]
    fn features_leave_something_of_the_mold() {
        check(json!({"engraved_volume_mm3": "-100"}), &[]);
        check(json!({"engraved_volume_mm3": "5927.999999"}), &[]);
        check(
            json!({"engraved_volume_mm3": "5928"}),
            &["/engraved_volume_mm3"],
        );
    }

    #[test]
    fn cost_and_rated_casts_come_together() {
        check(json!({"cost": "100"}), &["/rated_casts"]);
        check(json!({"rated_casts": 100}), &["/cost"]);
        check(json!({"cost": "100", "rated_casts": 100}), &[]);
    }

    #[test]
    fn the_pool_counts_every_copy() {
        let fill = mold(json!({"cost": "120.50", "rated_casts": 50, "copies": 3})).pool();
        let expected = PoolFill {
            value: Money::parse("361.50").unwrap(),
            uses: 150,
        };
        assert_eq!(fill, Ok(Some(expected)));
        assert_eq!(mold(json!({})).pool(), Ok(None));
    }

    #[test]
    fn what_the_pool_was_filled_from_never_changes() {
        let faults = |before: Value, after: Value| -> Vec<String> {
            let found = mold(after).fixed(&mold(before));
            found.into_iter().map(|e| e.pointer).collect()
        };
        let cost = json!({"cost": "100", "rated_casts": 50});
        let other = json!({"cost": "90", "rated_casts": 40, "copies": 2});
        assert_eq!(
            faults(cost.clone(), other),
            ["/cost", "/rated_casts", "/copies"]
        );
        assert_eq!(faults(json!({}), cost.clone()), ["/cost", "/rated_casts"]);
        assert!(faults(json!({}), json!({"copies": 2})).is_empty());
        let said = json!({"cost": "100.0", "rated_casts": 50, "copies": 1, "chips": 5});
        assert!(faults(cost, said).is_empty());
    }
}
