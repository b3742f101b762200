//! The catalogue's operations on both databases, and its addresses once through the door.

mod operations;
mod races;
mod retiring;
mod routes;
mod suppliers;

use serde_json::{Value, json};

use super::merge_patch;
use super::{CatalogueBody, EntryOut, entry_create};
use crate::base::Error;
use crate::db::{Db, fixture};

/// Creates an entry from a document.
pub(super) fn create<B: CatalogueBody>(db: &Db, document: Value) -> Result<EntryOut<B>, Error> {
    let body: B = serde_json::from_value(document).expect("a document");
    fixture::write(db, |tx| entry_create(tx, body))
}

/// A material's document, with changes.
pub(super) fn material(code: &str, kind: &str, unit: &str, patch: Value) -> Value {
    let plain =
        json!({"code": code, "name": format!("Material {code}"), "kind": kind, "unit": unit});
    merge_patch(plain, patch)
}

/// An elastomer's document.
pub(super) fn elastomer() -> Value {
    json!({
        "code": "el", "name": "Elastomer", "base": "base", "curing_agent": "agent",
        "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.05",
        "density_g_per_ml": "1.03", "viscosity_pa_s": "3.5", "pot_life_min": "90",
        "cure": [{"temperature_c": "80", "minutes": "120"}]
    })
}

/// A recipe's document, with changes.
pub(super) fn recipe(patch: Value) -> Value {
    let plain = json!({
        "code": "chip", "name": "Chip", "elastomer": "el", "mold": "mold", "container": "tray",
        "cup": "cup", "tape": "tape", "release_agent": "release", "chip_thickness_mm": "4",
        "drain_time_s": "60", "extras": [
            {"material": "stick", "quantity": "1", "per": "batch"},
            {"material": "glove", "quantity": "2", "per": "cast"}
        ]
    });
    merge_patch(plain, patch)
}

/// A mold's document, with changes.
pub(super) fn mold(patch: Value) -> Value {
    let plain = json!({"code": "mold", "name": "Mold", "length_mm": "76", "width_mm": "26", "thickness_mm": "3", "chips": 4});
    merge_patch(plain, patch)
}

/// Everything that the recipe names, and the recipe.
pub(super) fn lab(db: &Db) {
    let vessel = json!({"container": {"shape": "round", "diameter_mm": "88", "depth_mm": "14"}});
    let tape = json!({"tape": {"width_mm": "12", "thickness_mm": "0.05"}});
    for document in [
        material("base", "elastomer_base", "g", json!({})),
        material("agent", "curing_agent", "g", json!({})),
        material("tray", "container", "each", vessel.clone()),
        material("cup", "mixing_cup", "each", vessel),
        material("tape", "tape", "m", tape),
        material("release", "release_agent", "each", json!({})),
        material("stick", "sundry", "each", json!({})),
        material("glove", "sundry", "each", json!({})),
    ] {
        create::<super::MaterialBody>(db, document).expect("a material");
    }
    create::<super::ElastomerBody>(db, elastomer()).expect("an elastomer");
    create::<super::MoldBody>(db, mold(json!({}))).expect("a mold");
    create::<super::RecipeBody>(db, recipe(json!({}))).expect("a recipe");
}

/// The pointers of the faults; panics on any other outcome.
#[track_caller]
pub(super) fn pointers<T>(outcome: Result<T, Error>) -> Vec<String> {
    match outcome {
        Err(Error::Invalid(faults)) => faults.into_iter().map(|fault| fault.pointer).collect(),
        Err(error) => panic!("not a fault of a value: {error}"),
        Ok(_) => panic!("it was accepted"),
    }
}

/// The kind of the refusal, with its members; panics on any other outcome.
#[track_caller]
pub(super) fn refusal<T>(outcome: Result<T, Error>) -> (&'static str, Value) {
    match outcome {
        Err(Error::Refused(refusal)) => (refusal.kind.name(), Value::Object(refusal.members)),
        Err(error) => panic!("not a refusal: {error}"),
        Ok(_) => panic!("it was accepted"),
    }
}
