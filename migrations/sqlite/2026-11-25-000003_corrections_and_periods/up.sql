-- What a price turned out to be after all, who bears it, who was charged otherwise, and periods that are closed.

-- A price that was corrected after the delivery: of one order line with all its lots, or of one lot.
CREATE TABLE price_corrections (
    id             INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    order_line_id  BIGINT REFERENCES order_lines (id),
    lot_id         BIGINT REFERENCES lots (id),
    -- As it was sent, in millionths of its own currency; below 0 for a credit.
    amount_micro   BIGINT NOT NULL,
    currency       TEXT NOT NULL,
    -- The rate it was converted at; null in the base currency.
    rate           TEXT,
    value_micro    BIGINT NOT NULL,
    corrected_on   DATE NOT NULL,
    reason         TEXT NOT NULL,
    actor          TEXT NOT NULL,
    recorded_at    TIMESTAMP NOT NULL,
    CONSTRAINT price_corrections_of_one CHECK ((order_line_id IS NULL) <> (lot_id IS NULL)),
    CONSTRAINT price_corrections_amount CHECK (amount_micro <> 0)
);
CREATE INDEX price_corrections_order_line ON price_corrections (order_line_id);
CREATE INDEX price_corrections_lot ON price_corrections (lot_id);

-- Where a correction went: onto what is left of a lot (by a revaluation), to a cast and its payer, or to waste.
CREATE TABLE price_shares (
    id             INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    correction_id  BIGINT NOT NULL REFERENCES price_corrections (id),
    lot_id         BIGINT NOT NULL REFERENCES lots (id),
    kind           TEXT NOT NULL,
    movement_id    BIGINT REFERENCES movements (id),
    cast_id        BIGINT REFERENCES casts (id),
    grant_id       BIGINT REFERENCES catalogue_entries (id),
    amount_micro   BIGINT NOT NULL,
    posted_on      DATE NOT NULL,
    CONSTRAINT price_shares_kind CHECK (kind IN ('stock', 'price_variance', 'waste')),
    CONSTRAINT price_shares_stock_is_a_movement CHECK ((kind = 'stock') = (movement_id IS NOT NULL)),
    CONSTRAINT price_shares_payer CHECK (kind = 'price_variance' OR (cast_id IS NULL AND grant_id IS NULL))
);
CREATE INDEX price_shares_correction ON price_shares (correction_id);
CREATE INDEX price_shares_lot ON price_shares (lot_id);
CREATE INDEX price_shares_movement ON price_shares (movement_id);
CREATE INDEX price_shares_cast ON price_shares (cast_id);
CREATE INDEX price_shares_grant ON price_shares (grant_id);
CREATE INDEX price_shares_posted_on ON price_shares (posted_on, kind);

-- Who was charged for a cast before and after a change, as JSON.
CREATE TABLE charge_changes (
    id           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    cast_id      BIGINT NOT NULL REFERENCES casts (id),
    before_json  TEXT NOT NULL,
    after_json   TEXT NOT NULL,
    reason       TEXT NOT NULL,
    actor        TEXT NOT NULL,
    recorded_at  TIMESTAMP NOT NULL
);
CREATE INDEX charge_changes_cast ON charge_changes (cast_id);

-- A closed period with the heads of all lots as they stood, and its reports as they were written.
CREATE TABLE periods (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    first_day     DATE,
    last_day      DATE NOT NULL CONSTRAINT periods_last_day_unique UNIQUE,
    closed_at     TIMESTAMP NOT NULL,
    closed_by     TEXT NOT NULL,
    heads         TEXT NOT NULL,
    heads_digest  TEXT NOT NULL,
    CONSTRAINT periods_days CHECK (first_day IS NULL OR first_day <= last_day)
);

CREATE TABLE period_reports (
    period_id   BIGINT NOT NULL REFERENCES periods (id),
    report      TEXT NOT NULL,
    grouped_by  TEXT NOT NULL,
    format      TEXT NOT NULL,
    -- JSON and CSV as they are, XLSX in hexadecimal digits.
    body        TEXT NOT NULL,
    PRIMARY KEY (period_id, report, grouped_by, format),
    CONSTRAINT period_reports_format CHECK (format IN ('json', 'csv', 'xlsx'))
);

CREATE TRIGGER price_corrections_never_updated BEFORE UPDATE ON price_corrections
BEGIN SELECT RAISE(ABORT, 'price corrections are append-only'); END;
CREATE TRIGGER price_corrections_never_deleted BEFORE DELETE ON price_corrections
BEGIN SELECT RAISE(ABORT, 'price corrections are append-only'); END;

CREATE TRIGGER price_shares_never_updated BEFORE UPDATE ON price_shares
BEGIN SELECT RAISE(ABORT, 'price shares are append-only'); END;
CREATE TRIGGER price_shares_never_deleted BEFORE DELETE ON price_shares
BEGIN SELECT RAISE(ABORT, 'price shares are append-only'); END;

CREATE TRIGGER charge_changes_never_updated BEFORE UPDATE ON charge_changes
BEGIN SELECT RAISE(ABORT, 'charge changes are append-only'); END;
CREATE TRIGGER charge_changes_never_deleted BEFORE DELETE ON charge_changes
BEGIN SELECT RAISE(ABORT, 'charge changes are append-only'); END;

CREATE TRIGGER periods_never_updated BEFORE UPDATE ON periods
BEGIN SELECT RAISE(ABORT, 'periods are append-only'); END;
CREATE TRIGGER periods_never_deleted BEFORE DELETE ON periods
BEGIN SELECT RAISE(ABORT, 'periods are append-only'); END;

CREATE TRIGGER period_reports_never_updated BEFORE UPDATE ON period_reports
BEGIN SELECT RAISE(ABORT, 'period reports are append-only'); END;
CREATE TRIGGER period_reports_never_deleted BEFORE DELETE ON period_reports
BEGIN SELECT RAISE(ABORT, 'period reports are append-only'); END;
