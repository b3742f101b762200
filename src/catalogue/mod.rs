//! The catalogue: what the lab works with, before any of it is counted. Materials, elastomers, kits, molds, recipes,
//! grants and suppliers.
//!
//! Invariants: a code never changes and is never given again, not even after its entry was retired; materials and
//! kits share one set of codes; an entry names only entries that exist, are of the right kind, and were not retired
//! when they were named; an entry is not retired while another that is in use names it. One machinery serves all
//! seven nouns: a noun adds its document, its checks and its links. Deliberately absent: stock and prices (the
//! rooms above), and any way to delete an entry.

mod check;
mod elastomer;
mod grant;
mod kit;
mod material;
mod mold;
mod noun;
mod patch;
mod recipe;
mod supplier;
mod terms;
mod vessel;

pub use elastomer::{CureBody, ElastomerBody, RatioBody};
pub use grant::GrantBody;
pub use kit::KitBody;
pub use material::{MOLDS_PER_VIAL_DEFAULT, MaterialBody, MaterialKind, is_hazard_statement};
pub use mold::{COAT_LIFE_CASTS_DEFAULT, COPIES_DEFAULT, MoldBody};
pub use noun::{CatalogueBody, Link, Noun, PoolFill};
pub use patch::merge_patch;
pub use recipe::{
    BALANCE_READABILITY_G_DEFAULT, CASTS_PER_SETUP_DEFAULT, ExtraBody, ExtraPer, GaugeBody,
    GaugeOf, OVERFILL_DEFAULT, POUR_MIN_PER_CONTAINER_DEFAULT, PREP_MIN_DEFAULT,
    RESIDUE_QUANTILE_DEFAULT, RecipeBody, TRIM_ALLOWANCE_MM_DEFAULT,
};
pub use supplier::{SupplierBody, supplier_code};
pub use terms::{MIN_PACKS_DEFAULT, REVIEW_DAYS_DEFAULT, ReorderTerms, SERVICE_LEVEL_DEFAULT};
pub use vessel::{FILL_LIMIT_DEFAULT, RATED_USES_DEFAULT, TapeBody, VesselBody, VesselShape};
