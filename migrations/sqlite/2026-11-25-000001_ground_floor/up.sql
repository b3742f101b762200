-- The ground floor. Quantities and money are whole millionths (`_micro`); a `_on` column is a local date,
-- a `_at` column an instant in UTC to the microsecond.

CREATE TABLE installation (
    id             INTEGER NOT NULL PRIMARY KEY CONSTRAINT installation_is_one_row CHECK (id = 1),
    base_currency  TEXT NOT NULL,
    time_zone      TEXT NOT NULL,
    demo           BOOLEAN NOT NULL,
    created_at     TIMESTAMP NOT NULL
);

CREATE TABLE period_guard (
    id              INTEGER NOT NULL PRIMARY KEY CONSTRAINT period_guard_is_one_row CHECK (id = 1),
    closed_through  DATE
);
INSERT INTO period_guard (id, closed_through) VALUES (1, NULL);

CREATE TABLE tokens (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    name        TEXT NOT NULL,
    hash        TEXT NOT NULL CONSTRAINT tokens_hash_unique UNIQUE,
    roles       TEXT NOT NULL,
    created_at  TIMESTAMP NOT NULL,
    expires_at  TIMESTAMP,
    revoked_at  TIMESTAMP
);

CREATE TABLE idempotency_keys (
    token_id    BIGINT NOT NULL REFERENCES tokens (id),
    method      TEXT NOT NULL,
    path        TEXT NOT NULL,
    key         TEXT NOT NULL,
    body_hash   TEXT NOT NULL,
    status      INTEGER NOT NULL,
    location    TEXT,
    etag        TEXT,
    body        TEXT NOT NULL,
    created_at  TIMESTAMP NOT NULL,
    PRIMARY KEY (token_id, method, path, key)
);
CREATE INDEX idempotency_keys_created_at ON idempotency_keys (created_at);

-- ---------------------------------------------------------------- catalogue

CREATE TABLE catalogue_entries (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    noun        TEXT NOT NULL,
    namespace   TEXT NOT NULL,
    code        TEXT NOT NULL,
    name        TEXT NOT NULL,
    version     BIGINT NOT NULL DEFAULT 1,
    body        TEXT NOT NULL,
    created_at  TIMESTAMP NOT NULL,
    updated_at  TIMESTAMP NOT NULL,
    retired_at  TIMESTAMP,
    CONSTRAINT catalogue_entries_noun CHECK (noun IN ('material', 'elastomer', 'kit', 'mold', 'recipe', 'grant', 'supplier')),
    CONSTRAINT catalogue_entries_namespace CHECK (namespace = CASE WHEN noun IN ('material', 'kit') THEN 'item' ELSE noun END),
    CONSTRAINT catalogue_entries_code_unique UNIQUE (namespace, code),
    CONSTRAINT catalogue_entries_id_noun UNIQUE (id, noun)
);
CREATE INDEX catalogue_entries_by_noun ON catalogue_entries (noun, id);

CREATE TABLE catalogue_links (
    entry_id     BIGINT NOT NULL REFERENCES catalogue_entries (id),
    role         TEXT NOT NULL,
    target_id    BIGINT NOT NULL,
    target_noun  TEXT NOT NULL,
    PRIMARY KEY (entry_id, role),
    FOREIGN KEY (target_id, target_noun) REFERENCES catalogue_entries (id, noun)
);
CREATE INDEX catalogue_links_target ON catalogue_links (target_id, target_noun);

CREATE TABLE materials (
    id    BIGINT NOT NULL PRIMARY KEY REFERENCES catalogue_entries (id),
    kind  TEXT NOT NULL,
    unit  TEXT NOT NULL,
    CONSTRAINT materials_kind CHECK (kind IN ('elastomer_base', 'curing_agent', 'release_agent', 'container', 'mixing_cup', 'tape', 'sundry')),
    CONSTRAINT materials_unit CHECK (unit IN ('g', 'mL', 'm', 'each'))
);

-- ---------------------------------------------------------------- purchasing

CREATE TABLE orders (
    id           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    code         TEXT NOT NULL CONSTRAINT orders_code_unique UNIQUE,
    supplier_id  BIGINT NOT NULL REFERENCES catalogue_entries (id),
    ordered_on   DATE NOT NULL,
    created_at   TIMESTAMP NOT NULL,
    created_by   TEXT NOT NULL
);
CREATE INDEX orders_supplier ON orders (supplier_id);

CREATE TABLE order_lines (
    id                    INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    order_id              BIGINT NOT NULL REFERENCES orders (id),
    line_no               TEXT NOT NULL,
    item_id               BIGINT NOT NULL REFERENCES catalogue_entries (id),
    packs                 BIGINT NOT NULL,
    pack_quantity_micro   BIGINT,
    value_micro           BIGINT NOT NULL,
    state                 TEXT NOT NULL,
    expected_on           DATE,
    received_on           DATE,
    content               TEXT NOT NULL,
    CONSTRAINT order_lines_key UNIQUE (order_id, line_no),
    CONSTRAINT order_lines_state CHECK (state IN ('ordered', 'received', 'cancelled')),
    CONSTRAINT order_lines_received CHECK ((state = 'received') = (received_on IS NOT NULL)),
    CONSTRAINT order_lines_packs CHECK (packs > 0),
    CONSTRAINT order_lines_value CHECK (value_micro >= 0)
);
CREATE INDEX order_lines_item ON order_lines (item_id, state);

CREATE TABLE purchase_imports (
    id           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    file_sha256  TEXT NOT NULL,
    outcome      TEXT NOT NULL,
    created_at   TIMESTAMP NOT NULL,
    created_by   TEXT NOT NULL
);

CREATE TABLE exchange_rates (
    currency   TEXT NOT NULL,
    rate_on    DATE NOT NULL,
    rate       TEXT NOT NULL,
    source     TEXT NOT NULL,
    PRIMARY KEY (currency, rate_on)
);

-- ---------------------------------------------------------------- stock

CREATE TABLE lots (
    id                     INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    material_id            BIGINT NOT NULL REFERENCES materials (id),
    order_line_id          BIGINT REFERENCES order_lines (id),
    code                   TEXT NOT NULL,
    kit_lot                TEXT,
    kit_id                 BIGINT REFERENCES catalogue_entries (id),
    supplier_id            BIGINT REFERENCES catalogue_entries (id),
    funded_by_id           BIGINT REFERENCES catalogue_entries (id),
    received_on            DATE NOT NULL,
    expires_on             DATE,
    landed_cost_micro      BIGINT NOT NULL DEFAULT 0,
    on_hand_micro          BIGINT NOT NULL DEFAULT 0,
    remaining_value_micro  BIGINT NOT NULL DEFAULT 0,
    head_seq               BIGINT NOT NULL DEFAULT 0,
    head_hash              TEXT NOT NULL DEFAULT '',
    version                BIGINT NOT NULL DEFAULT 1,
    CONSTRAINT lots_on_hand CHECK (on_hand_micro >= 0),
    CONSTRAINT lots_value CHECK (remaining_value_micro >= 0 AND landed_cost_micro >= 0)
);
CREATE INDEX lots_material ON lots (material_id, id);
CREATE INDEX lots_in_stock ON lots (material_id, id) WHERE on_hand_micro > 0;
CREATE INDEX lots_order_line ON lots (order_line_id);
CREATE INDEX lots_kit ON lots (kit_id);
CREATE INDEX lots_supplier ON lots (supplier_id);
CREATE INDEX lots_funded_by ON lots (funded_by_id);

CREATE TABLE packs (
    id              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    lot_id          BIGINT NOT NULL REFERENCES lots (id),
    no              INTEGER NOT NULL,
    received_micro  BIGINT NOT NULL,
    on_hand_micro   BIGINT NOT NULL DEFAULT 0,
    reserved_micro  BIGINT NOT NULL DEFAULT 0,
    opened_on       DATE,
    held_reason     TEXT,
    tare_micro      BIGINT,
    gross_micro     BIGINT,
    counted_on      DATE,
    uses            BIGINT NOT NULL DEFAULT 0,
    version         BIGINT NOT NULL DEFAULT 1,
    CONSTRAINT packs_number UNIQUE (lot_id, no),
    CONSTRAINT packs_reserved_at_least_0 CHECK (reserved_micro >= 0),
    CONSTRAINT packs_reserved_at_most_on_hand CHECK (reserved_micro <= on_hand_micro)
);

CREATE TABLE casts (
    id              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    code            TEXT NOT NULL CONSTRAINT casts_code_unique UNIQUE,
    state           TEXT NOT NULL,
    short           BOOLEAN NOT NULL DEFAULT FALSE,
    recipe_id       BIGINT NOT NULL REFERENCES catalogue_entries (id),
    mold_id         BIGINT NOT NULL REFERENCES catalogue_entries (id),
    containers      INTEGER NOT NULL,
    cast_on         DATE NOT NULL,
    allow_mixed_kits    BOOLEAN NOT NULL,
    allow_cross_charge  BOOLEAN NOT NULL,
    request         TEXT NOT NULL,
    facts           TEXT NOT NULL,
    plan            TEXT NOT NULL,
    booked_at       TIMESTAMP NOT NULL,
    booked_by       TEXT NOT NULL,
    pour            TEXT,
    poured_on       DATE,
    poured_by       TEXT,
    demold          TEXT,
    demolded_on     DATE,
    demolded_by     TEXT,
    good_chips      BIGINT,
    rejected_chips  BIGINT,
    cancelled_at    TIMESTAMP,
    version         BIGINT NOT NULL DEFAULT 1,
    CONSTRAINT casts_state CHECK (state IN ('booked', 'poured', 'demolded', 'cancelled')),
    CONSTRAINT casts_poured CHECK ((state IN ('poured', 'demolded')) = (poured_on IS NOT NULL)),
    CONSTRAINT casts_pour_kept CHECK ((pour IS NULL) = (poured_on IS NULL)),
    CONSTRAINT casts_demolded CHECK ((state = 'demolded') = (demolded_on IS NOT NULL)),
    CONSTRAINT casts_counted CHECK ((state = 'demolded') = (good_chips IS NOT NULL)),
    CONSTRAINT casts_cancelled CHECK ((state = 'cancelled') = (cancelled_at IS NOT NULL))
);
CREATE INDEX casts_recipe ON casts (recipe_id);
CREATE INDEX casts_mold ON casts (mold_id);
CREATE INDEX casts_state_day ON casts (state, cast_on);
CREATE INDEX casts_demolded_on ON casts (demolded_on, id, recipe_id, good_chips, rejected_chips);

CREATE TABLE cast_charges (
    cast_id      BIGINT NOT NULL REFERENCES casts (id),
    grant_id     BIGINT NOT NULL REFERENCES catalogue_entries (id),
    share_micro  BIGINT NOT NULL,
    PRIMARY KEY (cast_id, grant_id),
    CONSTRAINT cast_charges_share CHECK (share_micro > 0 AND share_micro <= 100000000)
);
CREATE INDEX cast_charges_grant ON cast_charges (grant_id);

CREATE TABLE movements (
    id              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    lot_id          BIGINT NOT NULL REFERENCES lots (id),
    seq             BIGINT NOT NULL,
    pack_id         BIGINT REFERENCES packs (id),
    kind            TEXT NOT NULL,
    quantity_micro  BIGINT NOT NULL,
    value_micro     BIGINT NOT NULL,
    reason          TEXT NOT NULL,
    actor           TEXT NOT NULL,
    cast_id         BIGINT REFERENCES casts (id),
    batch_no        INTEGER,
    purpose         TEXT,
    reverses_id     BIGINT CONSTRAINT movements_reversed_once UNIQUE REFERENCES movements (id),
    effective_on    DATE NOT NULL,
    recorded_at     TIMESTAMP NOT NULL,
    hash            TEXT NOT NULL,
    CONSTRAINT movements_seq_unique UNIQUE (lot_id, seq),
    CONSTRAINT movements_kind CHECK (kind IN ('receipt', 'consumption', 'residue', 'wear', 'spill', 'count', 'write_off', 'revaluation', 'reversal')),
    CONSTRAINT movements_reversal_names_one CHECK ((kind = 'reversal') = (reverses_id IS NOT NULL)),
    CONSTRAINT movements_value_only CHECK (kind NOT IN ('wear', 'revaluation') OR quantity_micro = 0),
    CONSTRAINT movements_pack_named CHECK (pack_id IS NOT NULL OR quantity_micro = 0),
    CONSTRAINT movements_receipt_adds CHECK (kind <> 'receipt' OR (quantity_micro > 0 AND value_micro >= 0)),
    CONSTRAINT movements_issue_takes CHECK (kind NOT IN ('consumption', 'residue', 'spill', 'write_off') OR (quantity_micro < 0 AND value_micro <= 0))
);
CREATE INDEX movements_pack ON movements (pack_id, effective_on);
CREATE INDEX movements_cast ON movements (cast_id);

-- What a cast's plan needs of each material; the reservations fill it, or the cast is short.
CREATE TABLE cast_needs (
    id              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    cast_id         BIGINT NOT NULL REFERENCES casts (id),
    material_id     BIGINT NOT NULL REFERENCES materials (id),
    purpose         TEXT NOT NULL,
    batch_no        INTEGER NOT NULL,
    quantity_micro  BIGINT NOT NULL,
    piece_micro     BIGINT NOT NULL,
    CONSTRAINT cast_needs_unique UNIQUE (cast_id, material_id, purpose, batch_no),
    CONSTRAINT cast_needs_quantity CHECK (quantity_micro > 0),
    CONSTRAINT cast_needs_piece CHECK (piece_micro > 0)
);
CREATE INDEX cast_needs_material ON cast_needs (material_id);

CREATE TABLE reservations (
    id              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    cast_id         BIGINT NOT NULL REFERENCES casts (id),
    pack_id         BIGINT NOT NULL REFERENCES packs (id),
    purpose         TEXT NOT NULL,
    batch_no        INTEGER NOT NULL,
    quantity_micro  BIGINT NOT NULL,
    state           TEXT NOT NULL,
    created_at      TIMESTAMP NOT NULL,
    resolved_at     TIMESTAMP,
    CONSTRAINT reservations_quantity CHECK (quantity_micro > 0),
    CONSTRAINT reservations_state CHECK (state IN ('active', 'consumed', 'released')),
    CONSTRAINT reservations_resolved CHECK ((state = 'active') = (resolved_at IS NULL))
);
CREATE INDEX reservations_cast ON reservations (cast_id, state);
CREATE INDEX reservations_pack ON reservations (pack_id, state);

CREATE TABLE cost_pools (
    id                     INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    kind                   TEXT NOT NULL,
    mold_id                BIGINT NOT NULL REFERENCES catalogue_entries (id),
    remaining_value_micro  BIGINT NOT NULL DEFAULT 0,
    remaining_uses         BIGINT NOT NULL DEFAULT 0,
    head_seq               BIGINT NOT NULL DEFAULT 0,
    opened_on              DATE NOT NULL,
    closed_on              DATE,
    CONSTRAINT cost_pools_kind CHECK (kind IN ('mold', 'coat')),
    CONSTRAINT cost_pools_value CHECK (remaining_value_micro >= 0),
    CONSTRAINT cost_pools_uses CHECK (remaining_uses >= 0)
);
CREATE INDEX cost_pools_mold ON cost_pools (mold_id, kind, id);

CREATE TABLE pool_movements (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    pool_id       BIGINT NOT NULL REFERENCES cost_pools (id),
    seq           BIGINT NOT NULL,
    kind          TEXT NOT NULL,
    value_micro   BIGINT NOT NULL,
    uses          BIGINT NOT NULL,
    cast_id       BIGINT REFERENCES casts (id),
    reverses_id   BIGINT CONSTRAINT pool_movements_reversed_once UNIQUE REFERENCES pool_movements (id),
    reason        TEXT NOT NULL,
    actor         TEXT NOT NULL,
    effective_on  DATE NOT NULL,
    recorded_at   TIMESTAMP NOT NULL,
    CONSTRAINT pool_movements_seq_unique UNIQUE (pool_id, seq),
    CONSTRAINT pool_movements_kind CHECK (kind IN ('fill', 'issue', 'waste', 'reversal')),
    CONSTRAINT pool_movements_reversal_names_one CHECK ((kind = 'reversal') = (reverses_id IS NOT NULL)),
    CONSTRAINT pool_movements_signs CHECK (kind = 'reversal' OR (kind = 'fill' AND value_micro >= 0 AND uses >= 0) OR (kind IN ('issue', 'waste') AND value_micro <= 0 AND uses <= 0))
);
CREATE INDEX pool_movements_cast ON pool_movements (cast_id);

CREATE TABLE residue_observations (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    cast_id       BIGINT NOT NULL REFERENCES casts (id),
    batch_no      INTEGER NOT NULL,
    cup_id        BIGINT NOT NULL REFERENCES materials (id),
    elastomer_id  BIGINT NOT NULL REFERENCES catalogue_entries (id),
    film_micro    BIGINT NOT NULL,
    weighed_micro BIGINT NOT NULL,
    observed_on   DATE NOT NULL,
    withdrawn_at  TIMESTAMP,
    CONSTRAINT residue_observations_film CHECK (film_micro > 0),
    CONSTRAINT residue_observations_weighed CHECK (weighed_micro >= 0)
);
CREATE INDEX residue_observations_cup ON residue_observations (cup_id, elastomer_id);
CREATE INDEX residue_observations_elastomer ON residue_observations (elastomer_id);
CREATE INDEX residue_observations_cast ON residue_observations (cast_id);

CREATE TABLE cast_costs (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    cast_id       BIGINT NOT NULL REFERENCES casts (id),
    grant_id      BIGINT REFERENCES catalogue_entries (id),
    component     TEXT NOT NULL,
    amount_micro  BIGINT NOT NULL,
    CONSTRAINT cast_costs_component CHECK (component IN ('chip', 'trim', 'overfill', 'residue', 'release', 'tape', 'container', 'cup', 'mold', 'sundries'))
);
-- Covering, so that a report over all casts reads the index alone.
CREATE INDEX cast_costs_cast ON cast_costs (cast_id, grant_id, component, amount_micro);
CREATE INDEX cast_costs_grant ON cast_costs (grant_id);

-- ---------------------------------------------------------------- demand, warnings, delivery

CREATE TABLE daily_demand (
    material_id     BIGINT NOT NULL REFERENCES materials (id),
    day             DATE NOT NULL,
    quantity_micro  BIGINT NOT NULL,
    PRIMARY KEY (material_id, day)
);

CREATE TABLE refused_bookings (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    recipe_id   BIGINT NOT NULL REFERENCES catalogue_entries (id),
    cast_on     DATE NOT NULL,
    refused_at  TIMESTAMP NOT NULL,
    actor       TEXT NOT NULL,
    detail      TEXT NOT NULL
);
CREATE INDEX refused_bookings_recipe ON refused_bookings (recipe_id);

CREATE TABLE refused_demand (
    refused_booking_id  BIGINT NOT NULL REFERENCES refused_bookings (id),
    material_id         BIGINT NOT NULL REFERENCES materials (id),
    quantity_micro      BIGINT NOT NULL,
    PRIMARY KEY (refused_booking_id, material_id)
);
CREATE INDEX refused_demand_material ON refused_demand (material_id);

CREATE TABLE dirty_materials (
    material_id  BIGINT NOT NULL PRIMARY KEY REFERENCES materials (id),
    since        TIMESTAMP NOT NULL
);

-- The advice on a material or a kit, as it is shown. Kept for speed only: whoever changes its shape may empty it.
CREATE TABLE reorder_advice (
    item_id      BIGINT NOT NULL PRIMARY KEY REFERENCES catalogue_entries (id),
    computed_on  DATE NOT NULL,
    body         TEXT NOT NULL
);

CREATE TABLE warnings (
    id               INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    kind             TEXT NOT NULL,
    subject_noun     TEXT NOT NULL,
    subject          TEXT NOT NULL,
    severity         INTEGER NOT NULL,
    due_on           DATE,
    reason           TEXT NOT NULL,
    opened_at        TIMESTAMP NOT NULL,
    acknowledged_at  TIMESTAMP,
    acknowledged_by  TEXT,
    note             TEXT,
    cleared_at       TIMESTAMP,
    version          BIGINT NOT NULL DEFAULT 1,
    CONSTRAINT warnings_acknowledged CHECK ((acknowledged_at IS NULL) = (acknowledged_by IS NULL))
);
CREATE UNIQUE INDEX warnings_one_open ON warnings (kind, subject_noun, subject) WHERE cleared_at IS NULL;

CREATE TABLE outbox (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    message_id    TEXT NOT NULL CONSTRAINT outbox_message_unique UNIQUE,
    topic         TEXT NOT NULL,
    payload       TEXT NOT NULL,
    created_at    TIMESTAMP NOT NULL,
    leased_until  TIMESTAMP,
    attempts      INTEGER NOT NULL DEFAULT 0,
    delivered_at  TIMESTAMP
);
CREATE INDEX outbox_waiting ON outbox (delivered_at, id);

CREATE TABLE job_runs (
    job        TEXT NOT NULL,
    local_day  DATE NOT NULL,
    ran_at     TIMESTAMP NOT NULL,
    PRIMARY KEY (job, local_day)
);

-- ---------------------------------------------------------------- triggers
-- The ledger is append-only, and what is derived from it is derived here, so that no program can forget it.

CREATE TRIGGER movements_never_updated BEFORE UPDATE ON movements
BEGIN SELECT RAISE(ABORT, 'movements are append-only: post a reversal'); END;

CREATE TRIGGER movements_never_deleted BEFORE DELETE ON movements
BEGIN SELECT RAISE(ABORT, 'movements are append-only: post a reversal'); END;

CREATE TRIGGER movements_extend_the_chain BEFORE INSERT ON movements
WHEN NEW.seq <> (SELECT head_seq + 1 FROM lots WHERE id = NEW.lot_id)
BEGIN SELECT RAISE(ABORT, 'a movement must extend its lot''s chain by one'); END;

CREATE TRIGGER movements_pack_of_lot BEFORE INSERT ON movements
WHEN NEW.pack_id IS NOT NULL AND NEW.lot_id <> (SELECT lot_id FROM packs WHERE id = NEW.pack_id)
BEGIN SELECT RAISE(ABORT, 'a movement''s pack must belong to its lot'); END;

CREATE TRIGGER movements_move_balances AFTER INSERT ON movements
BEGIN
    UPDATE packs SET on_hand_micro = on_hand_micro + NEW.quantity_micro, version = version + 1
     WHERE id = NEW.pack_id;
    UPDATE lots SET on_hand_micro = on_hand_micro + NEW.quantity_micro,
                    remaining_value_micro = remaining_value_micro + NEW.value_micro,
                    landed_cost_micro = landed_cost_micro + CASE
                        WHEN NEW.kind IN ('receipt', 'revaluation') THEN NEW.value_micro
                        WHEN NEW.kind = 'reversal' AND (SELECT kind FROM movements WHERE id = NEW.reverses_id) IN ('receipt', 'revaluation') THEN NEW.value_micro
                        ELSE 0 END,
                    head_seq = NEW.seq, head_hash = NEW.hash, version = version + 1
     WHERE id = NEW.lot_id;
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT material_id, NEW.recorded_at FROM lots WHERE id = NEW.lot_id;
END;

CREATE TRIGGER movements_count_as_demand AFTER INSERT ON movements
WHEN NEW.kind IN ('consumption', 'residue', 'spill')
BEGIN
    INSERT INTO daily_demand (material_id, day, quantity_micro)
        SELECT material_id, NEW.effective_on, -NEW.quantity_micro FROM lots WHERE id = NEW.lot_id
        ON CONFLICT (material_id, day) DO UPDATE SET quantity_micro = quantity_micro + excluded.quantity_micro;
END;

CREATE TRIGGER reversals_take_demand_back AFTER INSERT ON movements
WHEN NEW.kind = 'reversal' AND (SELECT kind FROM movements WHERE id = NEW.reverses_id) IN ('consumption', 'residue', 'spill')
BEGIN
    UPDATE daily_demand SET quantity_micro = quantity_micro - NEW.quantity_micro
     WHERE material_id = (SELECT material_id FROM lots WHERE id = NEW.lot_id)
       AND day = (SELECT effective_on FROM movements WHERE id = NEW.reverses_id);
END;

CREATE TRIGGER reservations_promise AFTER INSERT ON reservations WHEN NEW.state = 'active'
BEGIN
    UPDATE packs SET reserved_micro = reserved_micro + NEW.quantity_micro, version = version + 1 WHERE id = NEW.pack_id;
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT lots.material_id, NEW.created_at FROM packs JOIN lots ON lots.id = packs.lot_id WHERE packs.id = NEW.pack_id;
END;

CREATE TRIGGER reservations_resolve_once BEFORE UPDATE ON reservations
WHEN OLD.state <> 'active' OR NEW.state = 'active' OR NEW.quantity_micro <> OLD.quantity_micro OR NEW.pack_id <> OLD.pack_id OR NEW.cast_id <> OLD.cast_id
BEGIN SELECT RAISE(ABORT, 'a reservation is resolved once and otherwise never changed'); END;

CREATE TRIGGER reservations_give_back AFTER UPDATE ON reservations WHEN OLD.state = 'active'
BEGIN
    UPDATE packs SET reserved_micro = reserved_micro - OLD.quantity_micro, version = version + 1 WHERE id = OLD.pack_id;
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT lots.material_id, NEW.resolved_at FROM packs JOIN lots ON lots.id = packs.lot_id WHERE packs.id = NEW.pack_id;
END;

CREATE TRIGGER reservations_never_deleted BEFORE DELETE ON reservations
BEGIN SELECT RAISE(ABORT, 'reservations are kept: release them'); END;

CREATE TRIGGER pool_movements_never_updated BEFORE UPDATE ON pool_movements
BEGIN SELECT RAISE(ABORT, 'pool movements are append-only: post a reversal'); END;

CREATE TRIGGER pool_movements_never_deleted BEFORE DELETE ON pool_movements
BEGIN SELECT RAISE(ABORT, 'pool movements are append-only: post a reversal'); END;

CREATE TRIGGER pool_movements_move_pool AFTER INSERT ON pool_movements
BEGIN
    UPDATE cost_pools SET remaining_value_micro = remaining_value_micro + NEW.value_micro,
                          remaining_uses = remaining_uses + NEW.uses, head_seq = NEW.seq
     WHERE id = NEW.pool_id;
END;

CREATE TRIGGER period_guard_only_advances BEFORE UPDATE ON period_guard
WHEN OLD.closed_through IS NOT NULL AND (NEW.closed_through IS NULL OR NEW.closed_through < OLD.closed_through)
BEGIN SELECT RAISE(ABORT, 'a closed period stays closed'); END;

CREATE TRIGGER movements_open_period BEFORE INSERT ON movements
WHEN NEW.effective_on <= (SELECT closed_through FROM period_guard WHERE id = 1)
BEGIN SELECT RAISE(ABORT, 'the period of this movement is closed'); END;

-- What booked casts need, and which packs can serve them, changes the advice without any movement or promise. `since` is
-- the instant of the newest entry that is known then, so the change is no older.
CREATE TRIGGER cast_needs_change_advice AFTER INSERT ON cast_needs
BEGIN
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT NEW.material_id, booked_at FROM casts WHERE id = NEW.cast_id;
END;

CREATE TRIGGER cast_needs_taken_back_change_advice AFTER DELETE ON cast_needs
BEGIN
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT OLD.material_id, booked_at FROM casts WHERE id = OLD.cast_id;
END;

CREATE TRIGGER casts_change_advice AFTER UPDATE ON casts
WHEN OLD.state <> NEW.state OR OLD.cast_on <> NEW.cast_on
BEGIN
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT DISTINCT material_id, COALESCE(NEW.cancelled_at, NEW.booked_at) FROM cast_needs WHERE cast_id = NEW.id;
END;

CREATE TRIGGER packs_change_advice AFTER UPDATE ON packs
WHEN OLD.opened_on IS NOT NEW.opened_on OR OLD.held_reason IS NOT NEW.held_reason
BEGIN
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT lots.material_id, movements.recorded_at
          FROM lots JOIN movements ON movements.lot_id = lots.id AND movements.seq = lots.head_seq
         WHERE lots.id = NEW.lot_id;
END;
