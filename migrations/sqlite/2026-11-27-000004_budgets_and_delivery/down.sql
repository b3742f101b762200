-- Takes budgets and delivery away, and lays out the outbox as it was.
DROP TRIGGER refusals_change_advice;
ALTER TABLE reorder_advice DROP COLUMN budget_left_micro;
ALTER TABLE warnings DROP COLUMN raised_due_on;
DROP TABLE sessions;
DROP TABLE calendar_keys;
DROP TABLE deliveries;
DROP TABLE outbox;
DROP TABLE webhooks;
DROP TABLE purchase_budgets;
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
