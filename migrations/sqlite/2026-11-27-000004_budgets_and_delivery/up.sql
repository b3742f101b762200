-- What may be spent on purchases, and what is told to the outside: webhooks, messages, deliveries, keys of the calendar.

-- What may be ordered in the days from the first to the last.
CREATE TABLE purchase_budgets (
    id            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    first_day     DATE NOT NULL,
    last_day      DATE NOT NULL,
    amount_micro  BIGINT NOT NULL,
    actor         TEXT NOT NULL,
    recorded_at   TIMESTAMP NOT NULL,
    withdrawn_at  TIMESTAMP,
    CONSTRAINT purchase_budgets_days CHECK (first_day <= last_day),
    CONSTRAINT purchase_budgets_amount CHECK (amount_micro >= 0)
);
CREATE INDEX purchase_budgets_last_day ON purchase_budgets (last_day);

-- Where messages are sent, and what they are signed with. The topics are one text, with blanks between them.
CREATE TABLE webhooks (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    url         TEXT NOT NULL,
    topics      TEXT NOT NULL,
    secret      TEXT NOT NULL,
    created_at  TIMESTAMP NOT NULL,
    created_by  TEXT NOT NULL,
    removed_at  TIMESTAMP
);

-- What happened, told once to each that asked for it: written in the transaction in which it happened. (Nothing was ever
-- written to the table of this name before.)
DROP TABLE outbox;
CREATE TABLE outbox (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    message_id  TEXT NOT NULL CONSTRAINT outbox_message_unique UNIQUE,
    topic       TEXT NOT NULL,
    payload     TEXT NOT NULL,
    created_at  TIMESTAMP NOT NULL
);
CREATE INDEX outbox_created_at ON outbox (created_at);

-- One message on its way to one receiver. A process that sends it holds a lease on it meanwhile.
CREATE TABLE deliveries (
    id               INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    outbox_id        BIGINT NOT NULL REFERENCES outbox (id),
    channel          TEXT NOT NULL,
    webhook_id       BIGINT REFERENCES webhooks (id),
    state            TEXT NOT NULL,
    attempts         INTEGER NOT NULL DEFAULT 0,
    next_attempt_at  TIMESTAMP NOT NULL,
    leased_until     TIMESTAMP,
    settled_at       TIMESTAMP,
    last_outcome     TEXT,
    CONSTRAINT deliveries_channel CHECK (channel IN ('webhook', 'mail')),
    CONSTRAINT deliveries_webhook CHECK ((channel = 'webhook') = (webhook_id IS NOT NULL)),
    CONSTRAINT deliveries_state CHECK (state IN ('waiting', 'delivered', 'dead', 'dropped')),
    CONSTRAINT deliveries_settled CHECK ((state = 'waiting') = (settled_at IS NULL))
);
CREATE INDEX deliveries_outbox ON deliveries (outbox_id);
CREATE INDEX deliveries_webhook_id ON deliveries (webhook_id);
CREATE INDEX deliveries_waiting ON deliveries (state, next_attempt_at);

-- Keys that open the calendar and nothing else.
CREATE TABLE calendar_keys (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    name        TEXT NOT NULL,
    hash        TEXT NOT NULL CONSTRAINT calendar_keys_hash_unique UNIQUE,
    created_at  TIMESTAMP NOT NULL,
    created_by  TEXT NOT NULL,
    revoked_at  TIMESTAMP
);

-- A browser that somebody signed in with a token. The secret of its cookie is kept as a hash, like a token's.
CREATE TABLE sessions (
    id          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    token_id    BIGINT NOT NULL REFERENCES tokens (id),
    hash        TEXT NOT NULL CONSTRAINT sessions_hash_unique UNIQUE,
    created_at  TIMESTAMP NOT NULL,
    expires_at  TIMESTAMP NOT NULL,
    ended_at    TIMESTAMP
);
CREATE INDEX sessions_token ON sessions (token_id);

-- The day that a warning spoke of when it was last raised: what has drifted from it by days is raised again.
ALTER TABLE warnings ADD COLUMN raised_due_on DATE;
UPDATE warnings SET raised_due_on = due_on;

-- What was left of the budget when the advice was made: what is left now may be less.
ALTER TABLE reorder_advice ADD COLUMN budget_left_micro BIGINT;

-- A refused booking is demand.
CREATE TRIGGER refusals_change_advice AFTER INSERT ON refused_demand
BEGIN
    INSERT OR IGNORE INTO dirty_materials (material_id, since)
        SELECT NEW.material_id, refused_at FROM refused_bookings WHERE id = NEW.refused_booking_id;
END;
