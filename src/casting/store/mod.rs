//! The casting room's statements: the only user of diesel in this room.

mod casts;
mod charges;
mod coats;
mod costs;
mod experience;
mod levels;
mod pools;
mod trace;

pub(super) use casts::{
    BookedRow, CastRow, ChargeRow, Counted, NewCast, Replanned, cast_by_code, cast_cancel,
    cast_codes, cast_demold, cast_demold_undo, cast_insert, cast_next_id, cast_pour,
    cast_pour_undo, cast_replan, casts_booked_from, casts_demolded_last, casts_lock, casts_of_day,
    casts_page, charges_by_cast, charges_fetch, charges_insert, promised_after,
    refused_booking_insert,
};
pub(super) use charges::{
    ChargeChangeRow, NewChargeChange, Recharged, cast_recharge, charge_change_insert,
    charge_changes_by_cast, charged_to_grant, funded_lots_of_cast, price_variance_of_grant,
};
pub(super) use coats::{
    BookedOnMold, CoatRow, Inspection, NewCoat, NewTreatment, TreatmentRow, booked_ids_on_mold,
    booked_on_mold, coat_close, coat_fetch, coat_open, coats_of_treatments, coats_present,
    inspection_insert, inspections_fetch, treatment_fetch, treatment_insert, treatment_undone,
    treatments_at_pour, treatments_page, vials_of_treatments,
};
pub(super) use costs::{cast_costs_delete, cast_costs_fetch, cast_costs_insert};
pub(super) use experience::{
    ChipSums, NewObservation, chips_of_all, chips_of_recipe, observations_fetch,
    observations_insert, observations_withdraw,
};
pub(super) use levels::{LevelRow, level_insert, levels_fetch, levels_withdraw};
pub(super) use pools::{
    MovedBy, PoolPosting, PoolRow, StandingRow, mold_pool, pool_movement_append,
    pool_movements_standing,
};
pub(super) use trace::{casts_traced, coats_among, draws_on, treatment_days};
