-- +goose Up
-- A credit is signed off for one amount, in minor units of a currency, so that
-- one that was signed can't be raised afterwards. What was signed before this
-- named no amount and opens nothing any more.
CREATE TABLE sign_off_new (
    subject  BLOB NOT NULL,
    purpose  TEXT NOT NULL,
    account  TEXT NOT NULL,
    device   TEXT,
    at       INTEGER NOT NULL,
    credit   INTEGER NOT NULL,
    currency TEXT NOT NULL,
    PRIMARY KEY (subject, purpose, account, credit, currency)
) STRICT;
INSERT INTO sign_off_new SELECT subject, purpose, account, device, at, -1, '' FROM sign_off;
DROP TABLE sign_off;
ALTER TABLE sign_off_new RENAME TO sign_off;

-- +goose Down
CREATE TABLE sign_off_old (
    subject BLOB NOT NULL,
    purpose TEXT NOT NULL,
    account TEXT NOT NULL,
    device  TEXT,
    at      INTEGER NOT NULL,
    PRIMARY KEY (subject, purpose, account)
) STRICT;
INSERT OR IGNORE INTO sign_off_old SELECT subject, purpose, account, device, at FROM sign_off ORDER BY credit, currency;
DROP TABLE sign_off;
ALTER TABLE sign_off_old RENAME TO sign_off;
