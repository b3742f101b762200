//! The texts of the GHS hazard statements.
//!
//! Written from memory of the statements in annex 3 of the UN's Globally Harmonized System (GHS); the
//! sub-forms with a letter (H350i, H360F, ...) are those of the European Union. The user's own safety data
//! sheet rules: it decides which statements a material carries, and its wording where it differs. Absent: a
//! classification of any material, and precautionary statements.

/// Text of a hazard statement or of a combined one, such as `H225` or `H300+H310`.
///
/// Spaces are ignored and the H may be small. `None` for a code this table does not hold; show the bare code then.
///
/// ```
/// use heeltap::casting::sums::hazards::hazard_text;
/// assert_eq!(hazard_text("H225"), Some("Highly flammable liquid and vapour"));
/// assert_eq!(hazard_text("h311 + h331"), Some("Toxic in contact with skin or if inhaled"));
/// assert_eq!(hazard_text("H999"), None);
/// ```
#[must_use]
pub fn hazard_text(code: &str) -> Option<&'static str> {
    let key: String = code
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| if c == 'h' { 'H' } else { c })
        .collect();
    TEXTS
        .iter()
        .find(|(known, _)| *known == key)
        .map(|(_, text)| *text)
}

/// The code as it is printed, with its text where this table holds it.
///
/// ```
/// use heeltap::casting::sums::hazards::hazard_line;
/// assert_eq!(hazard_line("H225"), "H225 Highly flammable liquid and vapour");
/// assert_eq!(hazard_line("H999"), "H999 (see the safety data sheet)");
/// ```
#[must_use]
pub fn hazard_line(code: &str) -> String {
    let code = code.trim();
    match hazard_text(code) {
        Some(text) => format!("{code} {text}"),
        None => format!("{code} (see the safety data sheet)"),
    }
}

/// Codes and texts, in the order of the codes.
const TEXTS: &[(&str, &str)] = &[
    ("H200", "Unstable explosive"),
    ("H201", "Explosive; mass explosion hazard"),
    ("H202", "Explosive; severe projection hazard"),
    ("H203", "Explosive; fire, blast or projection hazard"),
    ("H204", "Fire or projection hazard"),
    ("H205", "May mass explode in fire"),
    (
        "H206",
        "Fire, blast or projection hazard; increased risk of explosion if desensitizing agent is reduced",
    ),
    (
        "H207",
        "Fire or projection hazard; increased risk of explosion if desensitizing agent is reduced",
    ),
    (
        "H208",
        "Fire hazard; increased risk of explosion if desensitizing agent is reduced",
    ),
    ("H209", "Explosive"),
    ("H210", "Very sensitive"),
    ("H211", "May be sensitive"),
    ("H220", "Extremely flammable gas"),
    ("H221", "Flammable gas"),
    ("H222", "Extremely flammable aerosol"),
    ("H223", "Flammable aerosol"),
    ("H224", "Extremely flammable liquid and vapour"),
    ("H225", "Highly flammable liquid and vapour"),
    ("H226", "Flammable liquid and vapour"),
    ("H227", "Combustible liquid"),
    ("H228", "Flammable solid"),
    ("H229", "Pressurized container: may burst if heated"),
    ("H230", "May react explosively even in the absence of air"),
    (
        "H231",
        "May react explosively even in the absence of air at elevated pressure and/or temperature",
    ),
    ("H232", "May ignite spontaneously if exposed to air"),
    ("H240", "Heating may cause an explosion"),
    ("H241", "Heating may cause a fire or explosion"),
    ("H242", "Heating may cause a fire"),
    ("H250", "Catches fire spontaneously if exposed to air"),
    ("H251", "Self-heating; may catch fire"),
    ("H252", "Self-heating in large quantities; may catch fire"),
    (
        "H260",
        "In contact with water releases flammable gases which may ignite spontaneously",
    ),
    ("H261", "In contact with water releases flammable gas"),
    ("H270", "May cause or intensify fire; oxidizer"),
    ("H271", "May cause fire or explosion; strong oxidizer"),
    ("H272", "May intensify fire; oxidizer"),
    ("H280", "Contains gas under pressure; may explode if heated"),
    (
        "H281",
        "Contains refrigerated gas; may cause cryogenic burns or injury",
    ),
    (
        "H282",
        "Extremely flammable chemical under pressure: may explode if heated",
    ),
    (
        "H283",
        "Flammable chemical under pressure: may explode if heated",
    ),
    ("H284", "Chemical under pressure: may explode if heated"),
    ("H290", "May be corrosive to metals"),
    ("H300", "Fatal if swallowed"),
    ("H301", "Toxic if swallowed"),
    ("H302", "Harmful if swallowed"),
    ("H303", "May be harmful if swallowed"),
    ("H304", "May be fatal if swallowed and enters airways"),
    ("H305", "May be harmful if swallowed and enters airways"),
    ("H310", "Fatal in contact with skin"),
    ("H311", "Toxic in contact with skin"),
    ("H312", "Harmful in contact with skin"),
    ("H313", "May be harmful in contact with skin"),
    ("H314", "Causes severe skin burns and eye damage"),
    ("H315", "Causes skin irritation"),
    ("H316", "Causes mild skin irritation"),
    ("H317", "May cause an allergic skin reaction"),
    ("H318", "Causes serious eye damage"),
    ("H319", "Causes serious eye irritation"),
    ("H320", "Causes eye irritation"),
    ("H330", "Fatal if inhaled"),
    ("H331", "Toxic if inhaled"),
    ("H332", "Harmful if inhaled"),
    ("H333", "May be harmful if inhaled"),
    (
        "H334",
        "May cause allergy or asthma symptoms or breathing difficulties if inhaled",
    ),
    ("H335", "May cause respiratory irritation"),
    ("H336", "May cause drowsiness or dizziness"),
    ("H340", "May cause genetic defects"),
    ("H341", "Suspected of causing genetic defects"),
    ("H350", "May cause cancer"),
    ("H350i", "May cause cancer by inhalation"),
    ("H351", "Suspected of causing cancer"),
    ("H360", "May damage fertility or the unborn child"),
    ("H360D", "May damage the unborn child"),
    (
        "H360Df",
        "May damage the unborn child; suspected of damaging fertility",
    ),
    ("H360F", "May damage fertility"),
    (
        "H360FD",
        "May damage fertility; may damage the unborn child",
    ),
    (
        "H360Fd",
        "May damage fertility; suspected of damaging the unborn child",
    ),
    (
        "H361",
        "Suspected of damaging fertility or the unborn child",
    ),
    ("H361d", "Suspected of damaging the unborn child"),
    ("H361f", "Suspected of damaging fertility"),
    (
        "H361fd",
        "Suspected of damaging fertility; suspected of damaging the unborn child",
    ),
    ("H362", "May cause harm to breast-fed children"),
    ("H370", "Causes damage to organs"),
    ("H371", "May cause damage to organs"),
    (
        "H372",
        "Causes damage to organs through prolonged or repeated exposure",
    ),
    (
        "H373",
        "May cause damage to organs through prolonged or repeated exposure",
    ),
    ("H300+H310", "Fatal if swallowed or in contact with skin"),
    ("H300+H330", "Fatal if swallowed or if inhaled"),
    ("H310+H330", "Fatal in contact with skin or if inhaled"),
    (
        "H300+H310+H330",
        "Fatal if swallowed, in contact with skin or if inhaled",
    ),
    ("H301+H311", "Toxic if swallowed or in contact with skin"),
    ("H301+H331", "Toxic if swallowed or if inhaled"),
    ("H311+H331", "Toxic in contact with skin or if inhaled"),
    (
        "H301+H311+H331",
        "Toxic if swallowed, in contact with skin or if inhaled",
    ),
    ("H302+H312", "Harmful if swallowed or in contact with skin"),
    ("H302+H332", "Harmful if swallowed or if inhaled"),
    ("H312+H332", "Harmful in contact with skin or if inhaled"),
    (
        "H302+H312+H332",
        "Harmful if swallowed, in contact with skin or if inhaled",
    ),
    (
        "H303+H313",
        "May be harmful if swallowed or in contact with skin",
    ),
    ("H303+H333", "May be harmful if swallowed or if inhaled"),
    (
        "H313+H333",
        "May be harmful in contact with skin or if inhaled",
    ),
    (
        "H303+H313+H333",
        "May be harmful if swallowed, in contact with skin or if inhaled",
    ),
    ("H315+H320", "Causes skin and eye irritation"),
    ("H400", "Very toxic to aquatic life"),
    ("H401", "Toxic to aquatic life"),
    ("H402", "Harmful to aquatic life"),
    (
        "H410",
        "Very toxic to aquatic life with long lasting effects",
    ),
    ("H411", "Toxic to aquatic life with long lasting effects"),
    ("H412", "Harmful to aquatic life with long lasting effects"),
    (
        "H413",
        "May cause long lasting harmful effects to aquatic life",
    ),
    (
        "H420",
        "Harms public health and the environment by destroying ozone in the upper atmosphere",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(input: &str, expected: Option<&str>) {
        assert_eq!(hazard_text(input), expected);
    }

    #[test]
    fn finds_single_combined_and_lettered_codes() {
        check("H302", Some("Harmful if swallowed"));
        check(" H302 ", Some("Harmful if swallowed"));
        check(
            "H360Fd",
            Some("May damage fertility; suspected of damaging the unborn child"),
        );
        check(
            "H301+H311+H331",
            Some("Toxic if swallowed, in contact with skin or if inhaled"),
        );
        check("H331+H311", None);
        check("P210", None);
        check("", None);
    }

    #[test]
    fn every_code_is_held_once_and_every_combination_has_its_parts() {
        for (i, (code, text)) in TEXTS.iter().enumerate() {
            assert!(code.starts_with('H') && !text.is_empty() && !text.ends_with('.'));
            assert!(
                TEXTS[i + 1..].iter().all(|(other, _)| other != code),
                "{code} twice"
            );
            for part in code.split('+') {
                assert!(hazard_text(part).is_some(), "{part} of {code}");
            }
        }
    }
}
