-- +goose Up
CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;

CREATE TABLE region (
    code     TEXT PRIMARY KEY,
    name     TEXT NOT NULL,
    currency TEXT NOT NULL
) STRICT;

CREATE TABLE store (
    code     TEXT PRIMARY KEY,
    name     TEXT NOT NULL,
    region   TEXT NOT NULL REFERENCES region (code),
    zone     TEXT NOT NULL,
    currency TEXT NOT NULL,
    unit     TEXT NOT NULL,
    retired  TEXT
) STRICT;

CREATE INDEX store_region ON store (region);

-- scopes is "fleet", or words such as "region:NORTH store:S-0001".
CREATE TABLE account (
    code          TEXT PRIMARY KEY,
    role          TEXT NOT NULL,
    scopes        TEXT NOT NULL,
    retired       TEXT,
    password_hash TEXT,
    pin_hash      TEXT,
    epoch         INTEGER NOT NULL,
    created_at    INTEGER NOT NULL
) STRICT;

CREATE TABLE device (
    code            TEXT PRIMARY KEY,
    store           TEXT NOT NULL REFERENCES store (code),
    enrolment       BLOB,
    enrolment_until INTEGER,
    secret          BLOB,
    enrolled_at     INTEGER,
    revoked_at      INTEGER,
    created_at      INTEGER NOT NULL
) STRICT;

CREATE UNIQUE INDEX device_enrolment ON device (enrolment) WHERE enrolment IS NOT NULL;
CREATE UNIQUE INDEX device_secret ON device (secret) WHERE secret IS NOT NULL;
CREATE INDEX device_store ON device (store);

CREATE TABLE session (
    token      TEXT PRIMARY KEY,
    data       BLOB NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT;

CREATE INDEX session_expires_at ON session (expires_at);

CREATE TABLE api_token (
    name       TEXT PRIMARY KEY,
    secret     BLOB NOT NULL,
    role       TEXT NOT NULL,
    scopes     TEXT NOT NULL,
    created_by TEXT,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    revoked_at INTEGER
) STRICT;

CREATE UNIQUE INDEX api_token_secret ON api_token (secret);

CREATE TABLE sign_in_attempt (
    subject     TEXT PRIMARY KEY,
    failures    INTEGER NOT NULL,
    window_ends INTEGER NOT NULL
) STRICT;

-- +goose Down
DROP TABLE sign_in_attempt;
DROP TABLE api_token;
DROP TABLE session;
DROP TABLE device;
DROP TABLE account;
DROP TABLE store;
DROP TABLE region;
DROP TABLE meta;
