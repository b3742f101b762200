//! An entry of the catalogue as the other rooms see it, and how a kept document is read back.
//!
//! Invariant: a document that is kept was checked before it was kept, so one that does not read back is our fault.
//! Deliberately absent: the database's rows (the store holds them).

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::elastomer::{ElastomerBody, RatioBody};
use super::kit::KitBody;
use super::material::MaterialBody;
use super::mold::MoldBody;
use super::recipe::{ExtraBody, RecipeBody};
use crate::base::{Code, Error};

/// An entry: its document with what the books add.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry<B> {
    /// The number by which the books name it; never shown.
    pub id: i64,
    /// The code.
    pub code: Code,
    /// The name.
    pub name: String,
    /// How often it was changed, the creation included.
    pub version: i64,
    /// Whether it was retired: nothing new may name it.
    pub retired: bool,
    /// The document.
    pub body: B,
}

/// What can be ordered.
#[allow(clippy::large_enum_variant)] // One exists at a time; a box would only stand in the way of matching.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Item {
    /// A material.
    Material(Entry<MaterialBody>),
    /// A kit.
    Kit(Entry<KitBody>),
}

/// A recipe with everything it names: what a plan is made from, and what a cast keeps of the catalogue.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RecipeFacts {
    /// The recipe.
    pub recipe: Entry<RecipeBody>,
    /// Its elastomer.
    pub elastomer: Entry<ElastomerBody>,
    /// The elastomer's base.
    pub base: Entry<MaterialBody>,
    /// The elastomer's curing agent.
    pub curing_agent: Entry<MaterialBody>,
    /// The mold.
    pub mold: Entry<MoldBody>,
    /// The tray.
    pub container: Entry<MaterialBody>,
    /// The cup.
    pub cup: Entry<MaterialBody>,
    /// The tape, if there is one.
    pub tape: Option<Entry<MaterialBody>>,
    /// The release agent, if the mold is coated.
    pub release_agent: Option<Entry<MaterialBody>>,
    /// What else a cast uses up, in the recipe's order.
    pub extras: Vec<(Entry<MaterialBody>, ExtraBody)>,
}

impl RecipeFacts {
    /// Parts by mass as the recipe mixes: its own, else the elastomer's.
    #[must_use]
    pub fn ratio(&self) -> &RatioBody {
        let own = self.recipe.body.ratio.as_ref();
        own.unwrap_or(&self.elastomer.body.ratio)
    }
}

/// Reads a document that was kept.
///
/// # Errors
/// [`Error::Internal`] when it does not read back.
pub(super) fn document_load<B: DeserializeOwned>(id: i64, body: &str) -> Result<B, Error> {
    serde_json::from_str(body)
        .map_err(|error| Error::internal(format!("entry {id} does not read back: {error}")))
}
