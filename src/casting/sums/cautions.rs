//! The cautions of a cast, each at the step where it matters.
//!
//! They come from the steps themselves and from the hazard statements of the user's own safety data sheets.
//! Invariants: the steps come in working order; the set of every step ends by deferring to the safety data
//! sheet, local codes and the people licensed to apply them ([`DEFERRAL`]). Absent: any judgement whether a
//! lab is fit for the work.

use serde::{Deserialize, Serialize};

use super::hazards::hazard_line;

/// The sentence with which the cautions of each step end.
pub const DEFERRAL: &str = "The safety data sheets, local codes and the people licensed to apply them come before this list.";

/// A step of a cast, in working order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Vapour-coating the molds.
    ReleaseCoat,
    /// Weighing base and agent.
    Weigh,
    /// Mixing them.
    Mix,
    /// De-gassing under vacuum.
    Degas,
    /// Pouring.
    Pour,
    /// Curing in the oven.
    Cure,
    /// Taking the chips off.
    Demold,
    /// What is thrown away.
    Waste,
}

/// One caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// Where it matters.
    pub step: Step,
    /// One or two plain sentences.
    pub text: String,
}

/// What a material is handled as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HazardRole {
    /// Base, agent or anything else that is weighed and mixed.
    Mixed,
    /// The release agent.
    ReleaseAgent,
}

/// A material and the statements of its safety data sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HazardousMaterial {
    /// Its name as the lab writes it.
    pub name: String,
    /// How it is handled.
    pub role: HazardRole,
    /// Hazard statements, as `H225`; may be empty.
    pub hazard_statements: Vec<String>,
}

/// What the cautions depend on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CautionFacts {
    /// The materials that carry statements.
    pub materials: Vec<HazardousMaterial>,
    /// Whether molds are coated for this cast.
    pub release_coat: bool,
    /// Whether the mix is de-gassed under vacuum.
    pub vacuum: bool,
    /// Cure temperature, if it is cured warm.
    pub cure_temperature_c: Option<f64>,
    /// Pot life of the mix.
    pub pot_life_min: Option<f64>,
}

/// The cautions of a cast by step, in working order, each step's set ending with [`DEFERRAL`].
///
/// ```
/// use heeltap::casting::sums::cautions::{CautionFacts, DEFERRAL, HazardRole, HazardousMaterial, Step, cautions_for};
/// let agent = HazardousMaterial {
///     name: "Release agent".to_owned(), role: HazardRole::ReleaseAgent, hazard_statements: vec!["H225".to_owned()],
/// };
/// let facts = CautionFacts {
///     materials: vec![agent], release_coat: true, vacuum: true, cure_temperature_c: Some(85.0), pot_life_min: Some(90.0),
/// };
/// let cautions = cautions_for(&facts);
/// assert!(cautions.iter().any(|c| c.step == Step::ReleaseCoat && c.text.contains("H225 Highly flammable")));
/// assert_eq!(cautions.last().unwrap().text, DEFERRAL);
/// ```
#[must_use]
pub fn cautions_for(facts: &CautionFacts) -> Vec<Caution> {
    let mut cautions = Vec::new();
    let mut put = |step: Step, texts: Vec<String>| {
        cautions.extend(texts.into_iter().map(|text| Caution { step, text }));
        cautions.push(Caution {
            step,
            text: DEFERRAL.to_owned(),
        });
    };
    if facts.release_coat {
        put(Step::ReleaseCoat, release_cautions(facts));
    }
    put(Step::Weigh, weigh_cautions(facts));
    put(Step::Mix, mix_cautions(facts));
    if facts.vacuum {
        put(Step::Degas, vacuum_cautions());
    }
    put(
        Step::Pour,
        owned(&[
            "Molds from a printer's resin can inhibit the cure: try a small patch first, or coat or age the mold.",
            "Wipe spills at once; the elastomer makes floors slippery and does not wash off.",
        ]),
    );
    put(Step::Cure, cure_cautions(facts));
    put(
        Step::Demold,
        owned(&[
            "Let trays cool before you lift them, and cut away from your hand.",
            "Wear eye protection: a brittle mold or tray can break when it is bent.",
        ]),
    );
    put(Step::Waste, waste_cautions(facts));
    cautions
}

fn owned(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|&text| text.to_owned()).collect()
}

fn statements(facts: &CautionFacts, role: HazardRole) -> Vec<String> {
    facts
        .materials
        .iter()
        .filter(|material| material.role == role && !material.hazard_statements.is_empty())
        .map(|material| {
            let lines: Vec<String> = material
                .hazard_statements
                .iter()
                .map(|code| hazard_line(code))
                .collect();
            format!("{}: {}.", material.name, lines.join("; "))
        })
        .collect()
}

/// Whether the safety data sheet of some release agent calls it flammable.
fn is_flammable(facts: &CautionFacts) -> bool {
    facts
        .materials
        .iter()
        .filter(|material| material.role == HazardRole::ReleaseAgent)
        .flat_map(|material| &material.hazard_statements)
        .any(|code| {
            let code = code.trim();
            ["H224", "H225", "H226"]
                .iter()
                .any(|flammable| code.eq_ignore_ascii_case(flammable))
        })
}

fn release_cautions(facts: &CautionFacts) -> Vec<String> {
    let mut texts = statements(facts, HazardRole::ReleaseAgent);
    texts.extend(owned(&[
        "Work in the fume hood with the gloves and eye protection the safety data sheet names; no vial stands open outside the hood.",
        "Inspect the desiccator for cracks and chips, keep it behind a shield or in its cage while it is evacuated, and vent it slowly.",
        "Lead the pump's exhaust into the hood or through a trap.",
    ]));
    if is_flammable(facts) {
        texts.push(
            "The vapour is flammable: no flame, spark or hot surface nearby, and let it clear before a mold comes near the oven."
                .to_owned(),
        );
    }
    texts
}

fn weigh_cautions(facts: &CautionFacts) -> Vec<String> {
    let mut texts = statements(facts, HazardRole::Mixed);
    texts.extend(owned(&[
        "Wear nitrile gloves: sulphur-cured gloves (latex) and tools that touched them can inhibit the cure.",
        "Keep sulphur, amines, tin and fresh printed parts away from cup and stirrer; traces of them can stop the cure.",
    ]));
    texts
}

fn mix_cautions(facts: &CautionFacts) -> Vec<String> {
    let mut texts = owned(&[
        "Scrape wall and floor of the cup: unmixed base stays tacky however long it is cured.",
    ]);
    if let Some(minutes) = facts.pot_life_min {
        texts.push(format!(
            "The pot life of {minutes} min counts from the moment base and agent meet; warmth shortens it."
        ));
    }
    texts
}

fn vacuum_cautions() -> Vec<String> {
    owned(&[
        "Inspect the desiccator for cracks and chips, keep it behind a shield or in its cage, and wear eye protection.",
        "The foam rises to several times the mix: watch it, and let a little air in before it reaches the rim.",
        "Vent slowly, so that nothing is blown about and the lid does not jump.",
    ])
}

fn cure_cautions(facts: &CautionFacts) -> Vec<String> {
    let mut texts = match facts.cure_temperature_c {
        Some(temperature_c) => vec![format!(
            "Oven and trays are hot ({temperature_c} C): use heat-proof gloves, and set the trays level."
        )],
        None => owned(&["Set the trays level, covered from dust."]),
    };
    if facts.release_coat {
        texts.push(
            "No solvent or release vapour goes into the oven: let coated molds air in the hood first."
                .to_owned(),
        );
    }
    texts
}

fn waste_cautions(facts: &CautionFacts) -> Vec<String> {
    let mut texts = owned(&[
        "Let residue and trim cure before they are thrown away; uncured elastomer goes to chemical waste, never into a sink.",
    ]);
    if facts.release_coat {
        texts.push(
            "Spent vials and what wiped them are chemical waste; keep them closed in the hood until they are collected."
                .to_owned(),
        );
    }
    texts.push("Follow the waste rules of the place you work in.".to_owned());
    texts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(release_coat: bool, vacuum: bool, codes: &[&str]) -> CautionFacts {
        CautionFacts {
            materials: vec![HazardousMaterial {
                name: "RA-1".to_owned(),
                role: HazardRole::ReleaseAgent,
                hazard_statements: codes.iter().map(|&code| code.to_owned()).collect(),
            }],
            release_coat,
            vacuum,
            cure_temperature_c: Some(85.0),
            pot_life_min: Some(90.0),
        }
    }

    /// Input: facts, step and a phrase. Expected: whether a caution of that step holds the phrase.
    #[track_caller]
    fn check(input: (&CautionFacts, Step, &str), expected: bool) {
        let held = cautions_for(input.0)
            .iter()
            .any(|caution| caution.step == input.1 && caution.text.contains(input.2));
        assert_eq!(held, expected);
    }

    #[test]
    fn cautions_stand_at_their_step() {
        let coated = facts(true, true, &["H225", "H314", "H999"]);
        check(
            (&coated, Step::ReleaseCoat, "H314 Causes severe skin burns"),
            true,
        );
        check(
            (
                &coated,
                Step::ReleaseCoat,
                "H999 (see the safety data sheet)",
            ),
            true,
        );
        check((&coated, Step::ReleaseCoat, "fume hood"), true);
        check((&coated, Step::ReleaseCoat, "flammable: no flame"), true);
        check((&coated, Step::Weigh, "RA-1"), false);
        check((&coated, Step::Weigh, "sulphur-cured gloves"), true);
        check((&coated, Step::Degas, "Vent slowly"), true);
        check((&coated, Step::Cure, "85 C"), true);
        check((&coated, Step::Cure, "vapour"), true);
        check((&coated, Step::Mix, "90 min"), true);
        check((&coated, Step::Waste, "vials"), true);
        let bare = facts(false, false, &["H225"]);
        check((&bare, Step::ReleaseCoat, ""), false);
        check((&bare, Step::Degas, ""), false);
        check((&bare, Step::Cure, "vapour"), false);
        check(
            (&facts(true, true, &["H302"]), Step::ReleaseCoat, "no flame"),
            false,
        );
    }

    #[test]
    fn steps_are_in_order_and_each_ends_by_deferring() {
        let cautions = cautions_for(&facts(true, true, &[]));
        assert!(cautions.is_sorted_by_key(|caution| caution.step));
        for pair in cautions.windows(2) {
            assert_eq!(pair[0].step != pair[1].step, pair[0].text == DEFERRAL);
        }
        assert_eq!(cautions.last().map(|c| c.text.as_str()), Some(DEFERRAL));
    }
}
