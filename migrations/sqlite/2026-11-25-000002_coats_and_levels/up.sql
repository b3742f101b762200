-- What observed levels teach about the fill, and release coats kept for each copy of a mould.

CREATE TABLE fill_observations (
    id                    INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    cast_id               BIGINT NOT NULL REFERENCES casts (id),
    recipe_id             BIGINT NOT NULL REFERENCES catalogue_entries (id),
    source                TEXT NOT NULL,
    -- What one tray was poured with, in millionths of a mL.
    poured_micro          BIGINT NOT NULL,
    -- The surface above the floor, and the chip thickness aimed at, in millionths of a mm.
    level_micro           BIGINT NOT NULL,
    chip_thickness_micro  BIGINT NOT NULL,
    observed_on           DATE NOT NULL,
    withdrawn_at          TIMESTAMP,
    CONSTRAINT fill_observations_source CHECK (source IN ('pour', 'demold')),
    CONSTRAINT fill_observations_positive CHECK (poured_micro > 0 AND level_micro > 0 AND chip_thickness_micro > 0)
);
CREATE INDEX fill_observations_recipe ON fill_observations (recipe_id);
CREATE INDEX fill_observations_cast ON fill_observations (cast_id);

CREATE TABLE treatments (
    id                INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    treated_on        DATE NOT NULL,
    release_agent_id  BIGINT NOT NULL REFERENCES materials (id),
    vials             INTEGER NOT NULL,
    -- The cast it was made for, and whether that cast's pour recorded it.
    cast_id           BIGINT REFERENCES casts (id),
    at_pour           BOOLEAN NOT NULL,
    note              TEXT NOT NULL,
    actor             TEXT NOT NULL,
    recorded_at       TIMESTAMP NOT NULL,
    undone_at         TIMESTAMP,
    undone_by         TEXT,
    CONSTRAINT treatments_vials CHECK (vials >= 1),
    CONSTRAINT treatments_at_pour_of_a_cast CHECK (NOT at_pour OR cast_id IS NOT NULL),
    CONSTRAINT treatments_undone CHECK ((undone_at IS NULL) = (undone_by IS NULL))
);
CREATE INDEX treatments_release_agent ON treatments (release_agent_id);
CREATE INDEX treatments_cast ON treatments (cast_id);

-- The movements by which the vials of a treatment left the stock.
CREATE TABLE treatment_vials (
    movement_id   BIGINT NOT NULL PRIMARY KEY REFERENCES movements (id),
    treatment_id  BIGINT NOT NULL REFERENCES treatments (id)
);
CREATE INDEX treatment_vials_treatment ON treatment_vials (treatment_id);

CREATE TABLE coat_inspections (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    pool_id       BIGINT NOT NULL REFERENCES cost_pools (id),
    inspected_on  DATE NOT NULL,
    seen          BOOLEAN NOT NULL,
    note          TEXT NOT NULL,
    actor         TEXT NOT NULL,
    recorded_at   TIMESTAMP NOT NULL
);
CREATE INDEX coat_inspections_pool ON coat_inspections (pool_id);

-- A pool of kind coat is the coat of one copy. The pools that copies shared so far become the coat of the first copy,
-- so that no value is lost; other copies count as bare.
ALTER TABLE cost_pools ADD COLUMN treatment_id BIGINT REFERENCES treatments (id);
ALTER TABLE cost_pools ADD COLUMN copy_no INTEGER CONSTRAINT cost_pools_copy CHECK (copy_no >= 1);
ALTER TABLE cost_pools ADD COLUMN replaces_id BIGINT REFERENCES cost_pools (id);
UPDATE cost_pools SET copy_no = 1 WHERE kind = 'coat';
CREATE INDEX cost_pools_treatment ON cost_pools (treatment_id);
CREATE INDEX cost_pools_replaces ON cost_pools (replaces_id);
CREATE UNIQUE INDEX cost_pools_one_coat_a_copy ON cost_pools (mold_id, copy_no) WHERE kind = 'coat' AND closed_on IS NULL;
