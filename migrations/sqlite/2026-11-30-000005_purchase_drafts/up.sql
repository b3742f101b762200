-- Purchase files that were dropped on a page, and wait to be looked at and received.

-- A file as it came, with how it is to be read. Once what it says is in the books its bytes are let go of, and the row only
-- leads on to the import, until the daily work forgets it.
CREATE TABLE purchase_drafts (
    id                        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    name                      TEXT NOT NULL,
    file_sha256               TEXT NOT NULL,
    file_bytes                BIGINT NOT NULL,
    delimiter                 TEXT NOT NULL,
    decimal_mark              TEXT NOT NULL,
    encoding                  TEXT NOT NULL,
    spread_by                 TEXT NOT NULL,
    confirm_repeated_freight  BOOLEAN NOT NULL,
    created_at                TIMESTAMP NOT NULL,
    created_by                TEXT NOT NULL,
    settled_at                TIMESTAMP,
    import_id                 BIGINT REFERENCES purchase_imports (id),
    file                      BLOB,
    CONSTRAINT purchase_drafts_file_bytes CHECK (file_bytes >= 0),
    CONSTRAINT purchase_drafts_delimiter CHECK (delimiter IN ('comma', 'semicolon', 'tab')),
    CONSTRAINT purchase_drafts_decimal_mark CHECK (decimal_mark IN ('point', 'comma')),
    CONSTRAINT purchase_drafts_encoding CHECK (encoding IN ('utf-8', 'windows-1252')),
    CONSTRAINT purchase_drafts_spread_by CHECK (spread_by IN ('value', 'mass', 'count')),
    CONSTRAINT purchase_drafts_settled CHECK ((settled_at IS NULL) = (file IS NOT NULL)),
    CONSTRAINT purchase_drafts_import CHECK (import_id IS NULL OR settled_at IS NOT NULL)
);
CREATE INDEX purchase_drafts_import_id ON purchase_drafts (import_id);
CREATE INDEX purchase_drafts_created_at ON purchase_drafts (created_at);
