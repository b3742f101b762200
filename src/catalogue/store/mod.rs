//! The catalogue in the database: the only user of diesel in this room.
//!
//! Invariants: what an entry names is kept twice, as codes in its document and as links by id, and both are written
//! together; on PostgreSQL an entry that is named is held, from before it is looked at, until the naming is committed.
//! Deliberately absent: decisions (the operations make them).

mod dirty;
mod entries;
mod in_use;
mod links;
mod pool;

pub(super) use dirty::{materials_mark, materials_of_supplier};
pub(super) use entries::{
    EntryRow, Hold, entries_after, entries_by_codes, entries_by_ids, entries_hold, entries_named,
    entries_of_noun, entry_by_code, entry_insert, entry_retire, entry_update, kinds_by_ids,
    material_insert, materials_hold,
};
pub(super) use in_use::{User, entry_users, stock_on_hand};
pub(super) use links::{links_of, links_replace, links_to, targets_of};
pub(super) use pool::{pool_fill, pools_close};
