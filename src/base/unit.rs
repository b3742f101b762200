//! The four units stock is kept in, and the exact conversion of the units people buy in.
//!
//! Invariants: a factor is an exact ratio of integers; a conversion is rounded once, half to even, to a
//! millionth, and says so when it was. A label that has two readings in the trade (`oz`, `gal`, `Mg`) is
//! refused with both readings, never guessed.
//! Sources: 1959 international yard and pound agreement (yard 0.9144 m, pound 0.45359237 kg); US gallon
//! 231 cubic inches; imperial gallon 4.54609 L. Which label is read how is a policy of this project.
//! Deliberately absent: temperatures, and units of things no material is counted in.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::{MICRO_PER_UNIT, Micro, Quantity, round_half_even_div};

/// The unit a material is kept in.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    diesel::deserialize::FromSqlRow,
    diesel::expression::AsExpression,
)]
#[diesel(sql_type = diesel::sql_types::Text)]
pub enum Unit {
    /// Grams.
    G,
    /// Millilitres.
    Ml,
    /// Metres.
    M,
    /// Pieces.
    Each,
}

/// Why a quantity could not be read in a unit.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// Not one of the four units.
    #[error("\"{value}\" is not a unit of stock: send \"g\", \"mL\", \"m\" or \"each\"")]
    NotStockUnit {
        /// The text, cut if long.
        value: String,
    },
    /// No such label.
    #[error(
        "\"{label}\" is not a known unit: use g, kg, mg, lb, mL, L, m, cm, mm, in, ft, yd or each"
    )]
    Unknown {
        /// The text, cut if long.
        label: String,
    },
    /// The label has more than one reading.
    #[error("\"{label}\" is ambiguous: {readings}")]
    Ambiguous {
        /// The label.
        label: String,
        /// What it may mean and what to write instead.
        readings: &'static str,
    },
    /// The label measures something else than the material is kept in.
    #[error("\"{label}\" cannot be turned into {to}: {hint}")]
    Incompatible {
        /// The label.
        label: String,
        /// The unit the material is kept in.
        to: Unit,
        /// What would be right.
        hint: &'static str,
    },
    /// The result is beyond 10^9.
    #[error("{value} {label} is out of range in {to}: the result must stay within 1000000000 {to}")]
    OutOfRange {
        /// The value.
        value: Micro,
        /// The label.
        label: String,
        /// The unit the material is kept in.
        to: Unit,
    },
}

/// An exact factor: one of the label's unit is `num / den` of `unit`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Factor {
    /// The unit of stock of the same dimension.
    pub unit: Unit,
    /// Numerator.
    pub num: i64,
    /// Denominator, at least 1.
    pub den: i64,
}

/// A converted quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Converted {
    /// The quantity in the unit asked for.
    pub quantity: Quantity,
    /// Whether the exact result was finer than a millionth and was rounded, half to even.
    pub rounded: bool,
}

impl Unit {
    /// Every unit, in a fixed order.
    pub const ALL: [Unit; 4] = [Unit::G, Unit::Ml, Unit::M, Unit::Each];

    /// Reads one of `g`, `mL`, `m`, `each`, exactly so.
    ///
    /// # Errors
    /// [`UnitError::NotStockUnit`] naming the four.
    ///
    /// ```
    /// use heeltap::base::Unit;
    /// assert_eq!(Unit::parse("mL"), Ok(Unit::Ml));
    /// assert!(Unit::parse("kg").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<Unit, UnitError> {
        Unit::ALL
            .into_iter()
            .find(|unit| unit.as_str() == text)
            .ok_or_else(|| UnitError::NotStockUnit { value: cut(text) })
    }

    /// The symbol.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Unit::G => "g",
            Unit::Ml => "mL",
            Unit::M => "m",
            Unit::Each => "each",
        }
    }
}

const fn per(unit: Unit, num: i64, den: i64) -> Factor {
    Factor { unit, num, den }
}

/// Labels as they are written once blanks are single and full stops are gone. Case matters.
const LABELS: &[(&str, Factor)] = &[
    ("g", per(Unit::G, 1, 1)),
    ("kg", per(Unit::G, 1_000, 1)),
    ("mg", per(Unit::G, 1, 1_000)),
    ("µg", per(Unit::G, 1, 1_000_000)),
    ("ug", per(Unit::G, 1, 1_000_000)),
    ("lb", per(Unit::G, 45_359_237, 100_000)),
    ("oz av", per(Unit::G, 28_349_523_125, 1_000_000_000)),
    ("mL", per(Unit::Ml, 1, 1)),
    ("ml", per(Unit::Ml, 1, 1)),
    ("L", per(Unit::Ml, 1_000, 1)),
    ("l", per(Unit::Ml, 1_000, 1)),
    ("dL", per(Unit::Ml, 100, 1)),
    ("dl", per(Unit::Ml, 100, 1)),
    ("cL", per(Unit::Ml, 10, 1)),
    ("cl", per(Unit::Ml, 10, 1)),
    ("µL", per(Unit::Ml, 1, 1_000)),
    ("µl", per(Unit::Ml, 1, 1_000)),
    ("uL", per(Unit::Ml, 1, 1_000)),
    ("ul", per(Unit::Ml, 1, 1_000)),
    ("m", per(Unit::M, 1, 1)),
    ("km", per(Unit::M, 1_000, 1)),
    ("dm", per(Unit::M, 1, 10)),
    ("cm", per(Unit::M, 1, 100)),
    ("mm", per(Unit::M, 1, 1_000)),
    ("µm", per(Unit::M, 1, 1_000_000)),
    ("um", per(Unit::M, 1, 1_000_000)),
];

/// Labels whose case says nothing, in lower case.
const FOLDED: &[(&str, Factor)] = &[
    ("g", per(Unit::G, 1, 1)),
    ("gm", per(Unit::G, 1, 1)),
    ("gram", per(Unit::G, 1, 1)),
    ("grams", per(Unit::G, 1, 1)),
    ("gramme", per(Unit::G, 1, 1)),
    ("grammes", per(Unit::G, 1, 1)),
    ("kg", per(Unit::G, 1_000, 1)),
    ("kgs", per(Unit::G, 1_000, 1)),
    ("kilogram", per(Unit::G, 1_000, 1)),
    ("kilograms", per(Unit::G, 1_000, 1)),
    ("milligram", per(Unit::G, 1, 1_000)),
    ("milligrams", per(Unit::G, 1, 1_000)),
    ("tonne", per(Unit::G, 1_000_000, 1)),
    ("lb", per(Unit::G, 45_359_237, 100_000)),
    ("lbs", per(Unit::G, 45_359_237, 100_000)),
    ("pound", per(Unit::G, 45_359_237, 100_000)),
    ("pounds", per(Unit::G, 45_359_237, 100_000)),
    ("oz av", per(Unit::G, 28_349_523_125, 1_000_000_000)),
    ("oz avdp", per(Unit::G, 28_349_523_125, 1_000_000_000)),
    (
        "avoirdupois ounce",
        per(Unit::G, 28_349_523_125, 1_000_000_000),
    ),
    ("cc", per(Unit::Ml, 1, 1)),
    ("ccm", per(Unit::Ml, 1, 1)),
    ("cm3", per(Unit::Ml, 1, 1)),
    ("cm³", per(Unit::Ml, 1, 1)),
    ("millilitre", per(Unit::Ml, 1, 1)),
    ("millilitres", per(Unit::Ml, 1, 1)),
    ("milliliter", per(Unit::Ml, 1, 1)),
    ("milliliters", per(Unit::Ml, 1, 1)),
    ("litre", per(Unit::Ml, 1_000, 1)),
    ("litres", per(Unit::Ml, 1_000, 1)),
    ("liter", per(Unit::Ml, 1_000, 1)),
    ("liters", per(Unit::Ml, 1_000, 1)),
    ("dm3", per(Unit::Ml, 1_000, 1)),
    ("us gal", per(Unit::Ml, 3_785_411_784, 1_000_000)),
    ("us gallon", per(Unit::Ml, 3_785_411_784, 1_000_000)),
    ("us qt", per(Unit::Ml, 946_352_946, 1_000_000)),
    ("us quart", per(Unit::Ml, 946_352_946, 1_000_000)),
    ("us pt", per(Unit::Ml, 473_176_473, 1_000_000)),
    ("us pint", per(Unit::Ml, 473_176_473, 1_000_000)),
    ("us fl oz", per(Unit::Ml, 295_735_295_625, 10_000_000_000)),
    (
        "us fluid ounce",
        per(Unit::Ml, 295_735_295_625, 10_000_000_000),
    ),
    ("imp gal", per(Unit::Ml, 454_609, 100)),
    ("imperial gallon", per(Unit::Ml, 454_609, 100)),
    ("imp qt", per(Unit::Ml, 11_365_225, 10_000)),
    ("imperial quart", per(Unit::Ml, 11_365_225, 10_000)),
    ("imp pt", per(Unit::Ml, 56_826_125, 100_000)),
    ("imperial pint", per(Unit::Ml, 56_826_125, 100_000)),
    ("imp fl oz", per(Unit::Ml, 284_130_625, 10_000_000)),
    (
        "imperial fluid ounce",
        per(Unit::Ml, 284_130_625, 10_000_000),
    ),
    ("metre", per(Unit::M, 1, 1)),
    ("metres", per(Unit::M, 1, 1)),
    ("meter", per(Unit::M, 1, 1)),
    ("meters", per(Unit::M, 1, 1)),
    ("cm", per(Unit::M, 1, 100)),
    ("centimetre", per(Unit::M, 1, 100)),
    ("centimeter", per(Unit::M, 1, 100)),
    ("millimetre", per(Unit::M, 1, 1_000)),
    ("millimeter", per(Unit::M, 1, 1_000)),
    ("in", per(Unit::M, 254, 10_000)),
    ("inch", per(Unit::M, 254, 10_000)),
    ("inches", per(Unit::M, 254, 10_000)),
    ("ft", per(Unit::M, 3_048, 10_000)),
    ("foot", per(Unit::M, 3_048, 10_000)),
    ("feet", per(Unit::M, 3_048, 10_000)),
    ("yd", per(Unit::M, 9_144, 10_000)),
    ("yds", per(Unit::M, 9_144, 10_000)),
    ("yard", per(Unit::M, 9_144, 10_000)),
    ("yards", per(Unit::M, 9_144, 10_000)),
    ("each", per(Unit::Each, 1, 1)),
    ("ea", per(Unit::Each, 1, 1)),
    ("pc", per(Unit::Each, 1, 1)),
    ("pcs", per(Unit::Each, 1, 1)),
    ("piece", per(Unit::Each, 1, 1)),
    ("pieces", per(Unit::Each, 1, 1)),
];

const OUNCE: &str = "an ounce of mass or a fluid ounce; write \"oz av\" (28.349523125 g), \"US fl oz\" (29.5735295625 mL) or \"imp fl oz\" (28.4130625 mL)";
const FLUID_OUNCE: &str =
    "without its country; write \"US fl oz\" (29.5735295625 mL) or \"imp fl oz\" (28.4130625 mL)";
const GALLON: &str =
    "without its country; write \"US gal\" (3785.411784 mL) or \"imp gal\" (4546.09 mL)";
const PINT: &str =
    "without its country; write \"US pt\" (473.176473 mL) or \"imp pt\" (568.26125 mL)";
const QUART: &str =
    "without its country; write \"US qt\" (946.352946 mL) or \"imp qt\" (1136.5225 mL)";

/// Labels with two readings, in lower case.
const AMBIGUOUS: &[(&str, &str)] = &[
    ("oz", OUNCE),
    ("ozs", OUNCE),
    ("ounce", OUNCE),
    ("ounces", OUNCE),
    ("fl oz", FLUID_OUNCE),
    ("floz", FLUID_OUNCE),
    ("fluid ounce", FLUID_OUNCE),
    ("fluid ounces", FLUID_OUNCE),
    ("gal", GALLON),
    ("gallon", GALLON),
    ("gallons", GALLON),
    ("pt", PINT),
    ("pint", PINT),
    ("pints", PINT),
    ("qt", QUART),
    ("quart", QUART),
    ("quarts", QUART),
    (
        "gr",
        "a gram or a grain (0.06479891 g); write \"g\" or \"mg\"",
    ),
    (
        "mg",
        "a milligram or, with a capital M, a megagram; write \"mg\" or \"kg\"",
    ),
    (
        "ml",
        "a millilitre or, with a capital M, a megalitre; write \"mL\" or \"L\"",
    ),
    (
        "m",
        "a metre or, with a capital M, a million or a thousand; write \"m\" or \"each\"",
    ),
    (
        "mm",
        "a millimetre or, with a capital M, a million; write \"mm\" or \"each\"",
    ),
    ("t", "a tonne, or a short or long ton; write \"kg\""),
    ("ton", "a tonne, or a short or long ton; write \"kg\""),
    ("tons", "a tonne, or a short or long ton; write \"kg\""),
];

/// The exact factor of a label.
///
/// Blanks around it and full stops are ignored (`g.`, `U.S. gal`). Case matters where a prefix depends on it.
///
/// # Errors
/// [`UnitError::Ambiguous`] with the readings; [`UnitError::Unknown`].
///
/// ```
/// use heeltap::base::{Unit, factor};
/// let pound = factor("lb")?;
/// assert_eq!((pound.unit, pound.num, pound.den), (Unit::G, 45_359_237, 100_000));
/// assert!(factor("gal").is_err());
/// # Ok::<(), heeltap::base::UnitError>(())
/// ```
pub fn factor(label: &str) -> Result<Factor, UnitError> {
    let words: Vec<&str> = label.split_whitespace().collect();
    // U+03BC, the Greek letter, is the usual spelling of the micro sign.
    let plain = words.join(" ").replace('.', "").replace('\u{3bc}', "µ");
    if let Some((_, found)) = LABELS.iter().find(|(text, _)| *text == plain) {
        return Ok(*found);
    }
    let lower = plain.to_lowercase();
    if let Some((_, readings)) = AMBIGUOUS.iter().find(|(text, _)| *text == lower) {
        return Err(UnitError::Ambiguous {
            label: cut(label.trim()),
            readings,
        });
    }
    FOLDED
        .iter()
        .find(|(text, _)| *text == lower)
        .map(|(_, found)| *found)
        .ok_or_else(|| UnitError::Unknown {
            label: cut(label.trim()),
        })
}

/// Converts `value` of the unit that `label` names into `to`, exactly, rounded once half to even.
///
/// # Errors
/// [`UnitError`]: unknown or ambiguous label, another dimension, or a result beyond 10^9.
///
/// ```
/// use heeltap::base::{Micro, Unit, convert};
/// let kilos = convert(Micro::parse("1.5")?, "kg", Unit::G)?;
/// assert_eq!(kilos.quantity.to_string(), "1500");
/// assert!(convert(Micro::from_int(1), "oz", Unit::G).is_err());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn convert(value: Micro, label: &str, to: Unit) -> Result<Converted, UnitError> {
    let found = factor(label)?;
    if found.unit != to {
        let hint = match (found.unit, to) {
            (Unit::G, Unit::Ml) | (Unit::Ml, Unit::G) => {
                "give the quantity in the material's own unit, or the material a density"
            }
            _ => "give the quantity in the material's own unit",
        };
        return Err(UnitError::Incompatible {
            label: cut(label.trim()),
            to,
            hint,
        });
    }
    let num = i128::from(value.micro()).checked_mul(i128::from(found.num));
    finish(value, label, to, num, Some(i128::from(found.den)))
}

/// As [`convert`], and between mass and volume by a density (mass = volume x density).
///
/// `density_g_per_ml` is in grams per millilitre, above zero.
///
/// # Errors
/// As [`convert`]; a density that is not above zero is [`UnitError::Incompatible`].
///
/// ```
/// use heeltap::base::{Micro, Unit, convert_by_density};
/// let density = Micro::parse("0.7742")?;
/// let mass = convert_by_density(Micro::from_int(500), "mL", Unit::G, density)?;
/// assert_eq!(mass.quantity.to_string(), "387.1");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn convert_by_density(
    value: Micro,
    label: &str,
    to: Unit,
    density_g_per_ml: Micro,
) -> Result<Converted, UnitError> {
    let found = factor(label)?;
    let (num, den) = match (found.unit, to) {
        (Unit::Ml, Unit::G) => (density_g_per_ml.micro(), MICRO_PER_UNIT),
        (Unit::G, Unit::Ml) => (MICRO_PER_UNIT, density_g_per_ml.micro()),
        _ => return convert(value, label, to),
    };
    if !density_g_per_ml.is_positive() {
        return Err(UnitError::Incompatible {
            label: cut(label.trim()),
            to,
            hint: "the density must be above zero",
        });
    }
    let num = i128::from(value.micro())
        .checked_mul(i128::from(found.num))
        .and_then(|n| n.checked_mul(i128::from(num)));
    let den = i128::from(found.den).checked_mul(i128::from(den));
    finish(value, label, to, num, den)
}

/// Divides, rounds once, and checks the range.
fn finish(
    value: Micro,
    label: &str,
    to: Unit,
    num: Option<i128>,
    den: Option<i128>,
) -> Result<Converted, UnitError> {
    const LIMIT_MICRO: i128 = 1_000_000_000_000_000;
    num.zip(den)
        .and_then(|(num, den)| {
            let micro = round_half_even_div(num, den)?;
            (micro.abs() <= LIMIT_MICRO).then_some(Converted {
                quantity: Quantity::from_micro(micro as i64),
                rounded: num % den != 0,
            })
        })
        .ok_or_else(|| UnitError::OutOfRange {
            value,
            label: cut(label.trim()),
            to,
        })
}

/// Cuts a label for an error text.
fn cut(text: &str) -> String {
    text.chars().take(32).collect()
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl Serialize for Unit {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Unit {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Unit, D::Error> {
        let text = String::deserialize(deserializer)?;
        Unit::parse(&text).map_err(de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(value: &str, label: &str, to: Unit, expected: &str) {
        let got =
            Micro::parse(value).map(|v| convert(v, label, to).map(|c| c.quantity.to_string()));
        assert_eq!(got, Ok(Ok(expected.to_owned())), "{value} {label}");
    }

    #[test]
    fn purchase_units_convert_exactly() {
        check("1.5", "kg", Unit::G, "1500");
        check("250", "mg", Unit::G, "0.25");
        check("16", "oz av", Unit::G, "453.59237");
        check("2", "L", Unit::Ml, "2000");
        check("5", "cL", Unit::Ml, "50");
        check("1", "imp gal", Unit::Ml, "4546.09");
        check("1", "yd", Unit::M, "0.9144");
        check("12", " In. ", Unit::M, "0.3048");
        check("500", "pcs", Unit::Each, "500");
        check("1", "u.s. gal", Unit::Ml, "3785.411784");
    }

    #[test]
    fn a_result_finer_than_a_millionth_is_rounded_and_says_so() {
        let got = convert(Micro::from_int(1), "oz av", Unit::G);
        assert_eq!(
            got,
            Ok(Converted {
                quantity: Quantity::from_micro(28_349_523),
                rounded: true
            })
        );
        let exact = convert(Micro::from_int(1), "lb", Unit::G).map(|c| c.rounded);
        assert_eq!(exact, Ok(false));
    }

    #[test]
    fn an_ambiguous_label_names_its_readings() {
        for label in ["oz", "fl oz", "gal", "pint", "Mg", "ML", "M", "ton", "gr"] {
            let refused = factor(label);
            assert!(
                matches!(refused, Err(UnitError::Ambiguous { .. })),
                "{label}: {refused:?}"
            );
        }
        let text = factor("gal").map_err(|e| e.to_string());
        assert!(text.is_err_and(|e| e.contains("US gal") && e.contains("imp gal")));
    }

    #[test]
    fn an_unknown_label_or_another_dimension_is_refused() {
        assert!(matches!(factor("bucket"), Err(UnitError::Unknown { .. })));
        assert!(matches!(factor(""), Err(UnitError::Unknown { .. })));
        let other = convert(Micro::from_int(1), "L", Unit::G);
        assert!(matches!(other, Err(UnitError::Incompatible { .. })));
        let large = convert(Micro::from_int(1_000_000_000), "kg", Unit::G);
        assert!(matches!(large, Err(UnitError::OutOfRange { .. })));
    }

    #[test]
    fn density_joins_mass_and_volume() {
        let two = Micro::from_int(2);
        let volume = convert_by_density(Micro::from_int(1), "kg", Unit::Ml, two);
        assert_eq!(volume.map(|c| c.quantity.to_string()), Ok("500".to_owned()));
        assert!(convert_by_density(two, "mL", Unit::G, Micro::ZERO).is_err());
        assert!(convert_by_density(two, "m", Unit::G, two).is_err());
        let huge = Micro::from_int(1_000_000_000);
        assert!(convert_by_density(huge, "US gal", Unit::G, huge).is_err());
    }

    proptest! {
        #[test]
        fn any_label_is_read_or_refused(label in any::<String>()) {
            let _ = factor(&label);
        }
    }
}
