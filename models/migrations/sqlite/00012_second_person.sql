-- +goose Up
-- A second person signs for one verdict in place of another, as models numbers
-- them, 0 for what is about none; used_at is when the record that takes the
-- sign-off was stored, and a sign-off serves once.
CREATE TABLE sign_off_new (
    subject  BLOB NOT NULL,
    purpose  TEXT NOT NULL,
    account  TEXT NOT NULL,
    device   TEXT,
    at       INTEGER NOT NULL,
    credit   INTEGER NOT NULL,
    currency TEXT NOT NULL,
    advised  INTEGER NOT NULL,
    given    INTEGER NOT NULL,
    used_at  INTEGER,
    PRIMARY KEY (subject, purpose, account, credit, currency, advised, given)
) STRICT;
INSERT INTO sign_off_new SELECT subject, purpose, account, device, at, credit, currency, 0, 0, NULL FROM sign_off;
DROP TABLE sign_off;
ALTER TABLE sign_off_new RENAME TO sign_off;

-- Why a reading takes the place of the one it supersedes.
ALTER TABLE inspection ADD COLUMN amend_reason TEXT;

-- Readings whose second person was named off line (bit 2048 of flags) are few
-- among all, and wait for a manager.
CREATE INDEX inspection_unproven ON inspection (day, id) WHERE (flags & 2048) <> 0;

-- +goose Down
DROP INDEX inspection_unproven;
ALTER TABLE inspection DROP COLUMN amend_reason;
CREATE TABLE sign_off_old (
    subject  BLOB NOT NULL,
    purpose  TEXT NOT NULL,
    account  TEXT NOT NULL,
    device   TEXT,
    at       INTEGER NOT NULL,
    credit   INTEGER NOT NULL,
    currency TEXT NOT NULL,
    PRIMARY KEY (subject, purpose, account, credit, currency)
) STRICT;
INSERT OR IGNORE INTO sign_off_old SELECT subject, purpose, account, device, at, credit, currency FROM sign_off ORDER BY advised, given;
DROP TABLE sign_off;
ALTER TABLE sign_off_old RENAME TO sign_off;
