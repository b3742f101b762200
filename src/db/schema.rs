//! The tables as diesel sees them, written from the migrations (a test compares both databases with this file).
//!
//! Named only in `store` files and in this room. Deliberately absent: anything but columns.

#![allow(missing_docs)]

diesel::table! {
    installation (id) {
        id -> Integer,
        base_currency -> Text,
        time_zone -> Text,
        demo -> Bool,
        created_at -> Timestamp,
    }
}

diesel::table! {
    period_guard (id) {
        id -> Integer,
        closed_through -> Nullable<Date>,
    }
}

diesel::table! {
    tokens (id) {
        id -> BigInt,
        name -> Text,
        hash -> Text,
        roles -> Text,
        created_at -> Timestamp,
        expires_at -> Nullable<Timestamp>,
        revoked_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    idempotency_keys (token_id, method, path, key) {
        token_id -> BigInt,
        method -> Text,
        path -> Text,
        key -> Text,
        body_hash -> Text,
        status -> Integer,
        location -> Nullable<Text>,
        etag -> Nullable<Text>,
        body -> Text,
        created_at -> Timestamp,
    }
}

diesel::table! {
    catalogue_entries (id) {
        id -> BigInt,
        noun -> Text,
        namespace -> Text,
        code -> Text,
        name -> Text,
        version -> BigInt,
        body -> Text,
        created_at -> Timestamp,
        updated_at -> Timestamp,
        retired_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    catalogue_links (entry_id, role) {
        entry_id -> BigInt,
        role -> Text,
        target_id -> BigInt,
        target_noun -> Text,
    }
}

diesel::table! {
    materials (id) {
        id -> BigInt,
        kind -> Text,
        unit -> Text,
    }
}

diesel::table! {
    orders (id) {
        id -> BigInt,
        code -> Text,
        supplier_id -> BigInt,
        ordered_on -> Date,
        created_at -> Timestamp,
        created_by -> Text,
    }
}

diesel::table! {
    order_lines (id) {
        id -> BigInt,
        order_id -> BigInt,
        line_no -> Text,
        item_id -> BigInt,
        packs -> BigInt,
        pack_quantity_micro -> Nullable<BigInt>,
        value_micro -> BigInt,
        state -> Text,
        expected_on -> Nullable<Date>,
        received_on -> Nullable<Date>,
        content -> Text,
    }
}

diesel::table! {
    purchase_imports (id) {
        id -> BigInt,
        file_sha256 -> Text,
        outcome -> Text,
        created_at -> Timestamp,
        created_by -> Text,
    }
}

diesel::table! {
    purchase_drafts (id) {
        id -> BigInt,
        name -> Text,
        file_sha256 -> Text,
        file_bytes -> BigInt,
        delimiter -> Text,
        decimal_mark -> Text,
        encoding -> Text,
        spread_by -> Text,
        confirm_repeated_freight -> Bool,
        created_at -> Timestamp,
        created_by -> Text,
        settled_at -> Nullable<Timestamp>,
        import_id -> Nullable<BigInt>,
        file -> Nullable<Binary>,
    }
}

diesel::table! {
    exchange_rates (currency, rate_on) {
        currency -> Text,
        rate_on -> Date,
        rate -> Text,
        source -> Text,
    }
}

diesel::table! {
    lots (id) {
        id -> BigInt,
        material_id -> BigInt,
        order_line_id -> Nullable<BigInt>,
        code -> Text,
        kit_lot -> Nullable<Text>,
        kit_id -> Nullable<BigInt>,
        supplier_id -> Nullable<BigInt>,
        funded_by_id -> Nullable<BigInt>,
        received_on -> Date,
        expires_on -> Nullable<Date>,
        landed_cost_micro -> BigInt,
        on_hand_micro -> BigInt,
        remaining_value_micro -> BigInt,
        head_seq -> BigInt,
        head_hash -> Text,
        version -> BigInt,
    }
}

diesel::table! {
    packs (id) {
        id -> BigInt,
        lot_id -> BigInt,
        no -> Integer,
        received_micro -> BigInt,
        on_hand_micro -> BigInt,
        reserved_micro -> BigInt,
        opened_on -> Nullable<Date>,
        held_reason -> Nullable<Text>,
        tare_micro -> Nullable<BigInt>,
        gross_micro -> Nullable<BigInt>,
        counted_on -> Nullable<Date>,
        uses -> BigInt,
        version -> BigInt,
    }
}

diesel::table! {
    casts (id) {
        id -> BigInt,
        code -> Text,
        state -> Text,
        short -> Bool,
        recipe_id -> BigInt,
        mold_id -> BigInt,
        containers -> Integer,
        cast_on -> Date,
        allow_mixed_kits -> Bool,
        allow_cross_charge -> Bool,
        request -> Text,
        facts -> Text,
        plan -> Text,
        booked_at -> Timestamp,
        booked_by -> Text,
        pour -> Nullable<Text>,
        poured_on -> Nullable<Date>,
        poured_by -> Nullable<Text>,
        demold -> Nullable<Text>,
        demolded_on -> Nullable<Date>,
        demolded_by -> Nullable<Text>,
        good_chips -> Nullable<BigInt>,
        rejected_chips -> Nullable<BigInt>,
        cancelled_at -> Nullable<Timestamp>,
        version -> BigInt,
    }
}

diesel::table! {
    cast_charges (cast_id, grant_id) {
        cast_id -> BigInt,
        grant_id -> BigInt,
        share_micro -> BigInt,
    }
}

diesel::table! {
    movements (id) {
        id -> BigInt,
        lot_id -> BigInt,
        seq -> BigInt,
        pack_id -> Nullable<BigInt>,
        kind -> Text,
        quantity_micro -> BigInt,
        value_micro -> BigInt,
        reason -> Text,
        actor -> Text,
        cast_id -> Nullable<BigInt>,
        batch_no -> Nullable<Integer>,
        purpose -> Nullable<Text>,
        reverses_id -> Nullable<BigInt>,
        effective_on -> Date,
        recorded_at -> Timestamp,
        hash -> Text,
    }
}

diesel::table! {
    cast_needs (id) {
        id -> BigInt,
        cast_id -> BigInt,
        material_id -> BigInt,
        purpose -> Text,
        batch_no -> Integer,
        quantity_micro -> BigInt,
        piece_micro -> BigInt,
    }
}

diesel::table! {
    reservations (id) {
        id -> BigInt,
        cast_id -> BigInt,
        pack_id -> BigInt,
        purpose -> Text,
        batch_no -> Integer,
        quantity_micro -> BigInt,
        state -> Text,
        created_at -> Timestamp,
        resolved_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    cost_pools (id) {
        id -> BigInt,
        kind -> Text,
        mold_id -> BigInt,
        remaining_value_micro -> BigInt,
        remaining_uses -> BigInt,
        head_seq -> BigInt,
        opened_on -> Date,
        closed_on -> Nullable<Date>,
        treatment_id -> Nullable<BigInt>,
        copy_no -> Nullable<Integer>,
        replaces_id -> Nullable<BigInt>,
    }
}

diesel::table! {
    treatments (id) {
        id -> BigInt,
        treated_on -> Date,
        release_agent_id -> BigInt,
        vials -> Integer,
        cast_id -> Nullable<BigInt>,
        at_pour -> Bool,
        note -> Text,
        actor -> Text,
        recorded_at -> Timestamp,
        undone_at -> Nullable<Timestamp>,
        undone_by -> Nullable<Text>,
    }
}

diesel::table! {
    treatment_vials (movement_id) {
        movement_id -> BigInt,
        treatment_id -> BigInt,
    }
}

diesel::table! {
    coat_inspections (id) {
        id -> BigInt,
        pool_id -> BigInt,
        inspected_on -> Date,
        seen -> Bool,
        note -> Text,
        actor -> Text,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    fill_observations (id) {
        id -> BigInt,
        cast_id -> BigInt,
        recipe_id -> BigInt,
        source -> Text,
        poured_micro -> BigInt,
        level_micro -> BigInt,
        chip_thickness_micro -> BigInt,
        observed_on -> Date,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    pool_movements (id) {
        id -> BigInt,
        pool_id -> BigInt,
        seq -> BigInt,
        kind -> Text,
        value_micro -> BigInt,
        uses -> BigInt,
        cast_id -> Nullable<BigInt>,
        reverses_id -> Nullable<BigInt>,
        reason -> Text,
        actor -> Text,
        effective_on -> Date,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    residue_observations (id) {
        id -> BigInt,
        cast_id -> BigInt,
        batch_no -> Integer,
        cup_id -> BigInt,
        elastomer_id -> BigInt,
        film_micro -> BigInt,
        weighed_micro -> BigInt,
        observed_on -> Date,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    cast_costs (id) {
        id -> BigInt,
        cast_id -> BigInt,
        grant_id -> Nullable<BigInt>,
        component -> Text,
        amount_micro -> BigInt,
    }
}

diesel::table! {
    daily_demand (material_id, day) {
        material_id -> BigInt,
        day -> Date,
        quantity_micro -> BigInt,
    }
}

diesel::table! {
    refused_bookings (id) {
        id -> BigInt,
        recipe_id -> BigInt,
        cast_on -> Date,
        refused_at -> Timestamp,
        actor -> Text,
        detail -> Text,
    }
}

diesel::table! {
    refused_demand (refused_booking_id, material_id) {
        refused_booking_id -> BigInt,
        material_id -> BigInt,
        quantity_micro -> BigInt,
    }
}

diesel::table! {
    dirty_materials (material_id) {
        material_id -> BigInt,
        since -> Timestamp,
    }
}

diesel::table! {
    reorder_advice (item_id) {
        item_id -> BigInt,
        computed_on -> Date,
        body -> Text,
        budget_left_micro -> Nullable<BigInt>,
    }
}

diesel::table! {
    warnings (id) {
        id -> BigInt,
        kind -> Text,
        subject_noun -> Text,
        subject -> Text,
        severity -> Integer,
        due_on -> Nullable<Date>,
        reason -> Text,
        opened_at -> Timestamp,
        acknowledged_at -> Nullable<Timestamp>,
        acknowledged_by -> Nullable<Text>,
        note -> Nullable<Text>,
        cleared_at -> Nullable<Timestamp>,
        version -> BigInt,
        raised_due_on -> Nullable<Date>,
    }
}

diesel::table! {
    purchase_budgets (id) {
        id -> BigInt,
        first_day -> Date,
        last_day -> Date,
        amount_micro -> BigInt,
        actor -> Text,
        recorded_at -> Timestamp,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    webhooks (id) {
        id -> BigInt,
        url -> Text,
        topics -> Text,
        secret -> Text,
        created_at -> Timestamp,
        created_by -> Text,
        removed_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    outbox (id) {
        id -> BigInt,
        message_id -> Text,
        topic -> Text,
        payload -> Text,
        created_at -> Timestamp,
    }
}

diesel::table! {
    deliveries (id) {
        id -> BigInt,
        outbox_id -> BigInt,
        channel -> Text,
        webhook_id -> Nullable<BigInt>,
        state -> Text,
        attempts -> Integer,
        next_attempt_at -> Timestamp,
        leased_until -> Nullable<Timestamp>,
        settled_at -> Nullable<Timestamp>,
        last_outcome -> Nullable<Text>,
    }
}

diesel::table! {
    sessions (id) {
        id -> BigInt,
        token_id -> BigInt,
        hash -> Text,
        created_at -> Timestamp,
        expires_at -> Timestamp,
        ended_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    calendar_keys (id) {
        id -> BigInt,
        name -> Text,
        hash -> Text,
        created_at -> Timestamp,
        created_by -> Text,
        revoked_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    job_runs (job, local_day) {
        job -> Text,
        local_day -> Date,
        ran_at -> Timestamp,
    }
}

diesel::table! {
    price_corrections (id) {
        id -> BigInt,
        order_line_id -> Nullable<BigInt>,
        lot_id -> Nullable<BigInt>,
        amount_micro -> BigInt,
        currency -> Text,
        rate -> Nullable<Text>,
        value_micro -> BigInt,
        corrected_on -> Date,
        reason -> Text,
        actor -> Text,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    price_shares (id) {
        id -> BigInt,
        correction_id -> BigInt,
        lot_id -> BigInt,
        kind -> Text,
        movement_id -> Nullable<BigInt>,
        cast_id -> Nullable<BigInt>,
        grant_id -> Nullable<BigInt>,
        amount_micro -> BigInt,
        posted_on -> Date,
    }
}

diesel::table! {
    charge_changes (id) {
        id -> BigInt,
        cast_id -> BigInt,
        before_json -> Text,
        after_json -> Text,
        reason -> Text,
        actor -> Text,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    periods (id) {
        id -> BigInt,
        first_day -> Nullable<Date>,
        last_day -> Date,
        closed_at -> Timestamp,
        closed_by -> Text,
        heads -> Text,
        heads_digest -> Text,
    }
}

diesel::table! {
    period_reports (period_id, report, grouped_by, format) {
        period_id -> BigInt,
        report -> Text,
        grouped_by -> Text,
        format -> Text,
        body -> Text,
    }
}

diesel::joinable!(idempotency_keys -> tokens (token_id));
diesel::joinable!(catalogue_links -> catalogue_entries (entry_id));
diesel::joinable!(materials -> catalogue_entries (id));
diesel::joinable!(orders -> catalogue_entries (supplier_id));
diesel::joinable!(order_lines -> orders (order_id));
diesel::joinable!(order_lines -> catalogue_entries (item_id));
diesel::joinable!(lots -> materials (material_id));
diesel::joinable!(lots -> order_lines (order_line_id));
diesel::joinable!(packs -> lots (lot_id));
diesel::joinable!(cast_charges -> casts (cast_id));
diesel::joinable!(cast_charges -> catalogue_entries (grant_id));
diesel::joinable!(movements -> lots (lot_id));
diesel::joinable!(movements -> packs (pack_id));
diesel::joinable!(movements -> casts (cast_id));
diesel::joinable!(cast_needs -> casts (cast_id));
diesel::joinable!(cast_needs -> materials (material_id));
diesel::joinable!(reservations -> casts (cast_id));
diesel::joinable!(reservations -> packs (pack_id));
diesel::joinable!(cost_pools -> catalogue_entries (mold_id));
diesel::joinable!(cost_pools -> treatments (treatment_id));
diesel::joinable!(treatments -> materials (release_agent_id));
diesel::joinable!(treatments -> casts (cast_id));
diesel::joinable!(treatment_vials -> movements (movement_id));
diesel::joinable!(treatment_vials -> treatments (treatment_id));
diesel::joinable!(coat_inspections -> cost_pools (pool_id));
diesel::joinable!(fill_observations -> casts (cast_id));
diesel::joinable!(fill_observations -> catalogue_entries (recipe_id));
diesel::joinable!(pool_movements -> cost_pools (pool_id));
diesel::joinable!(pool_movements -> casts (cast_id));
diesel::joinable!(residue_observations -> casts (cast_id));
diesel::joinable!(residue_observations -> materials (cup_id));
diesel::joinable!(residue_observations -> catalogue_entries (elastomer_id));
diesel::joinable!(cast_costs -> casts (cast_id));
diesel::joinable!(cast_costs -> catalogue_entries (grant_id));
diesel::joinable!(daily_demand -> materials (material_id));
diesel::joinable!(refused_bookings -> catalogue_entries (recipe_id));
diesel::joinable!(refused_demand -> refused_bookings (refused_booking_id));
diesel::joinable!(refused_demand -> materials (material_id));
diesel::joinable!(dirty_materials -> materials (material_id));
diesel::joinable!(reorder_advice -> catalogue_entries (item_id));
diesel::joinable!(price_corrections -> order_lines (order_line_id));
diesel::joinable!(price_corrections -> lots (lot_id));
diesel::joinable!(price_shares -> price_corrections (correction_id));
diesel::joinable!(price_shares -> lots (lot_id));
diesel::joinable!(price_shares -> movements (movement_id));
diesel::joinable!(price_shares -> casts (cast_id));
diesel::joinable!(price_shares -> catalogue_entries (grant_id));
diesel::joinable!(charge_changes -> casts (cast_id));
diesel::joinable!(period_reports -> periods (period_id));
diesel::joinable!(deliveries -> outbox (outbox_id));
diesel::joinable!(sessions -> tokens (token_id));
diesel::joinable!(deliveries -> webhooks (webhook_id));

diesel::allow_tables_to_appear_in_same_query!(
    installation,
    period_guard,
    tokens,
    idempotency_keys,
    catalogue_entries,
    catalogue_links,
    materials,
    orders,
    order_lines,
    purchase_imports,
    exchange_rates,
    lots,
    packs,
    casts,
    cast_charges,
    movements,
    cast_needs,
    reservations,
    cost_pools,
    pool_movements,
    treatments,
    treatment_vials,
    coat_inspections,
    fill_observations,
    residue_observations,
    cast_costs,
    daily_demand,
    refused_bookings,
    refused_demand,
    dirty_materials,
    reorder_advice,
    warnings,
    outbox,
    job_runs,
    price_corrections,
    price_shares,
    charge_changes,
    periods,
    period_reports,
    purchase_budgets,
    webhooks,
    deliveries,
    calendar_keys,
    sessions,
    purchase_drafts,
);
