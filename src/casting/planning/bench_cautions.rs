//! The cautions of a recipe as sentences with their step, once each.

use super::cure::{HOT_FROM_C, effective_cure};
use crate::casting::sums::cautions::{
    Caution, CautionFacts, DEFERRAL, HazardRole, HazardousMaterial, cautions_for,
};
use crate::catalogue::RecipeFacts;

/// The cautions for casting a recipe, each at its step, without the deference that ends them.
#[must_use]
pub(in crate::casting) fn step_cautions(facts: &RecipeFacts, coats: bool) -> Vec<Caution> {
    let mixed = [&facts.base, &facts.curing_agent].map(|material| HazardousMaterial {
        name: material.name.clone(),
        role: HazardRole::Mixed,
        hazard_statements: material.body.hazard_statements.clone(),
    });
    let agent = facts
        .release_agent
        .as_ref()
        .map(|material| HazardousMaterial {
            name: material.name.clone(),
            role: HazardRole::ReleaseAgent,
            hazard_statements: material.body.hazard_statements.clone(),
        });
    let found = cautions_for(&CautionFacts {
        materials: mixed.into_iter().chain(agent).collect(),
        release_coat: coats,
        vacuum: true,
        cure_temperature_c: effective_cure(&facts.recipe.body, &facts.elastomer.body)
            .map(|(cure, _)| cure.temperature_c.to_f64())
            .filter(|temperature_c| *temperature_c >= HOT_FROM_C),
        pot_life_min: Some(facts.elastomer.body.pot_life_min.to_f64()),
    });
    found
        .into_iter()
        .filter(|caution| caution.text != DEFERRAL)
        .collect()
}

/// The cautions for casting a recipe; the deference to safety data sheet, local codes and licensed practice comes last, once.
#[must_use]
pub(in crate::casting) fn cautions(facts: &RecipeFacts, coats: bool) -> Vec<String> {
    let mut sentences: Vec<String> = Vec::new();
    for caution in step_cautions(facts, coats) {
        if !sentences.contains(&caution.text) {
            sentences.push(caution.text);
        }
    }
    sentences.push(DEFERRAL.to_owned());
    sentences
}
