//! The catalogue: what the lab works with, before any of it is counted. Materials, elastomers, kits, molds, recipes,
//! grants and suppliers.
//!
//! Invariants: a code never changes and is never given again, not even after its entry was retired; materials and
//! kits share one set of codes; an entry names only entries that exist, are of the right kind, and were not retired
//! when they were named; an entry is not retired while another that is in use names it. One machinery serves all
//! seven nouns: a noun adds its document, its checks and its links. Deliberately absent: stock and prices (the
//! rooms above), and any way to delete an entry.

mod change;
mod check;
mod create;
mod elastomer;
mod entry;
mod find;
mod grant;
mod kind;
mod kit;
mod material;
mod mold;
mod naming;
mod noun;
mod recipe;
mod retire;
mod routes;
mod store;
mod supplier;
mod terms;
#[cfg(test)]
mod tests;
mod vessel;
mod wire;

pub use change::entry_change;
pub use create::{entry_create, materials_mark, supplier_ensure, supplier_named};
pub use elastomer::{CureBody, ElastomerBody, RatioBody};
pub use entry::{Entry, Item, RecipeFacts};
pub use find::{
    codes_by_ids, elastomer_all, elastomer_by_code, elastomer_by_id, elastomers_by_ids,
    entries_by_codes, entries_by_ids, entries_hold, entries_hold_alone, entries_naming, entry_all,
    entry_by_code, entry_by_id, entry_list, entry_show, grant_all, grant_by_code, grant_by_id,
    grants_by_ids, item_by_code, items_by_codes, kit_all, kit_by_code, kit_by_id, kits_by_ids,
    kits_of_elastomer, links_of, links_to, material_all, material_by_code, material_by_id,
    materials_by_ids, mold_all, mold_by_code, mold_by_id, molds_by_ids, recipe_all, recipe_by_code,
    recipe_by_id, recipe_facts, recipes_by_ids, supplier_all, supplier_by_code, supplier_by_id,
    suppliers_by_ids,
};
pub use grant::{Beyond, GrantBody, UNASSIGNED};
pub use kind::MaterialKind;
pub use kit::KitBody;
pub use material::{MOLDS_PER_VIAL_DEFAULT, MaterialBody, is_hazard_statement};
pub use mold::{COAT_LIFE_CASTS_DEFAULT, COPIES_DEFAULT, MoldBody};
pub use noun::{CatalogueBody, Link, Noun, PoolFill};
pub use recipe::{
    BALANCE_READABILITY_G_DEFAULT, CASTS_PER_SETUP_DEFAULT, DegasIn, ExtraBody, ExtraPer,
    GaugeBody, GaugeOf, OVERFILL_DEFAULT, POUR_MIN_PER_CONTAINER_DEFAULT, PREP_MIN_DEFAULT,
    RESIDUE_QUANTILE_DEFAULT, RecipeBody, TRIM_ALLOWANCE_MM_DEFAULT, WeighingBody,
};
pub use retire::entry_retire;
pub use routes::routes;
pub use supplier::{SupplierBody, supplier_code};
pub use terms::{
    MIN_PACKS_DEFAULT, REVIEW_DAYS_DEFAULT, ReorderTerms, SERVICE_LEVEL_DEFAULT, ServiceMeasure,
};
pub use vessel::{FILL_LIMIT_DEFAULT, RATED_USES_DEFAULT, TapeBody, VesselBody, VesselShape};
pub use wire::{EntryOut, EntryState, StateQuery};

#[cfg(test)]
use crate::http::merge_patch;
