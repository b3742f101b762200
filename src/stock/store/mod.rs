//! The stock room's statements: the only user of diesel in this room.

mod counts;
#[cfg(test)]
pub(super) mod fixture;
mod guard;
mod lots;
mod movements;
mod orders;
mod packs;
mod price_shares;
mod reservations;
mod trace;
mod verify;
mod warnings;

pub(super) use counts::{anchors, has_offsets, is_offset, offset_word, promised_in_use};
pub(super) use guard::{
    guard_share, locks_begin, locks_drop, locks_keep, materials_lock, period_last, rows_are_locked,
};
pub(super) use lots::{
    LotRow, NewLot, heads_all, lot_balance, lot_fetch, lot_insert, lots_by_ids, lots_latest,
    lots_page,
};
pub(super) use movements::{
    MovementRow, movement_fetch, movement_insert, movements_before, movements_by_day,
    movements_of_lot, movements_of_lots, movements_standing, packs_drawn_on, reversed_by,
    treatment_of,
};
pub(super) use orders::{OrderedLine, lines_ordered};
pub(super) use packs::{
    LabelRow, NewPack, PackRow, materials_in_stock, pack_fetch, pack_insert, pack_labels,
    pack_touch, packs_of_lots, packs_received, packs_uncounted, shelf_rows,
};
pub(super) use price_shares::{
    corrections_against_shares, revaluations_against_shares, share_insert, shares_of_cast,
};
pub(super) use reservations::{
    cast_short_set, casts_booked, needs_delete, needs_insert, needs_of, reservation_insert,
    reservations_active, reservations_resolve,
};
pub(super) use trace::{lot_origins, promised_of_lot, treatments_of_movements};
pub(super) use verify::{
    cast_costs_against_ledger, casts_uncovered, daily_demand_all, packs_promised, promised_by_pack,
    promises_astray, treatments_against_coats,
};
pub(super) use warnings::{
    Said, WarningRow, warning_acknowledge, warning_clear, warning_fetch, warning_open,
    warning_raise, warnings_counts, warnings_page, warnings_to_see,
};
