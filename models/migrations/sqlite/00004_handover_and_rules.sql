-- +goose Up
CREATE TABLE trade_in (
    store         TEXT NOT NULL,
    id            BLOB NOT NULL,
    inspection_id BLOB NOT NULL,
    pair_ref      TEXT NOT NULL,
    staff         TEXT NOT NULL,
    device        TEXT,
    at            INTEGER NOT NULL,
    received_at   INTEGER NOT NULL,
    day           TEXT NOT NULL,
    month         TEXT NOT NULL,
    grade         INTEGER NOT NULL,
    route         INTEGER NOT NULL,
    credit        INTEGER NOT NULL,
    advised       INTEGER NOT NULL,
    currency      TEXT NOT NULL,
    credit_table  INTEGER NOT NULL,
    override_by   TEXT,
    reason        TEXT,
    voucher       TEXT,
    voided_at     INTEGER,
    void_reason   TEXT,
    body_sha      BLOB NOT NULL,
    PRIMARY KEY (store, id)
) STRICT;

CREATE INDEX trade_in_id ON trade_in (id);
CREATE INDEX trade_in_pair_ref ON trade_in (pair_ref);

-- Rule sets, credit tables and posture bands are numbered, dated and never
-- changed: a new one gets the next number.
CREATE TABLE rule_set (
    number     INTEGER PRIMARY KEY,
    from_day   TEXT NOT NULL,
    body       TEXT NOT NULL,
    sha        BLOB NOT NULL,
    note       TEXT,
    created_by TEXT,
    created_at INTEGER NOT NULL
) STRICT;

CREATE TABLE credit_table (
    number     INTEGER PRIMARY KEY,
    from_day   TEXT NOT NULL,
    body       TEXT NOT NULL,
    sha        BLOB NOT NULL,
    note       TEXT,
    created_by TEXT,
    created_at INTEGER NOT NULL
) STRICT;

CREATE TABLE posture_band (
    number     INTEGER PRIMARY KEY,
    from_day   TEXT NOT NULL,
    body       TEXT NOT NULL,
    sha        BLOB NOT NULL,
    note       TEXT,
    created_by TEXT,
    created_at INTEGER NOT NULL
) STRICT;

-- A photo is known by the SHA-256 of its stripped bytes; photo_alias leads from
-- that of the bytes sent.
CREATE TABLE photo (
    sha         BLOB PRIMARY KEY,
    bytes       INTEGER NOT NULL,
    width       INTEGER NOT NULL,
    height      INTEGER NOT NULL,
    created_at  INTEGER NOT NULL,
    deleted_at  INTEGER
) STRICT;

CREATE TABLE photo_alias (
    sent_sha BLOB PRIMARY KEY,
    sha      BLOB NOT NULL REFERENCES photo (sha)
) STRICT;

-- points are the four points a tilt was taken from, as JSON.
CREATE TABLE inspection_photo (
    store         TEXT NOT NULL,
    inspection_id BLOB NOT NULL,
    sha           BLOB NOT NULL REFERENCES photo (sha),
    foot          INTEGER NOT NULL,
    view          TEXT NOT NULL,
    points        TEXT,
    PRIMARY KEY (store, inspection_id, sha)
) STRICT;

CREATE INDEX inspection_photo_sha ON inspection_photo (sha);

-- +goose Down
DROP TABLE inspection_photo;
DROP TABLE photo_alias;
DROP TABLE photo;
DROP TABLE posture_band;
DROP TABLE credit_table;
DROP TABLE rule_set;
DROP TABLE trade_in;
