//! The reorder room's statements: the only user of diesel in this room.
//!
//! Invariant: whatever is read for a set of materials is read in one statement for the whole set. Deliberately absent:
//! the shelf and the writing of warnings (the stock room has both).

mod advice;
mod books;
mod notice;
mod orders;
mod warnings;

pub(super) use advice::{advice_drop, advice_page, advice_put, dirty, dirty_take, outdated};
pub(super) use books::{
    demand, kit_links, lot_materials, needs_booked, prices, promised, recipes_of_elastomers,
};
pub(super) use notice::{bookings_of_recipes, planned, refused};
pub(super) use orders::lines_of_items;
pub(super) use warnings::{OpenWarning, warnings_open};
