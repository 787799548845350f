-- +goose Up
CREATE TABLE trade_in (
    store         text COLLATE "C" NOT NULL,
    id            uuid NOT NULL,
    inspection_id uuid NOT NULL,
    pair_ref      text COLLATE "C" NOT NULL,
    staff         text COLLATE "C" NOT NULL,
    device        text COLLATE "C",
    at            timestamptz NOT NULL,
    received_at   timestamptz NOT NULL,
    day           text COLLATE "C" NOT NULL,
    month         text COLLATE "C" NOT NULL,
    grade         smallint NOT NULL,
    route         smallint NOT NULL,
    credit        bigint NOT NULL,
    advised       bigint NOT NULL,
    currency      text NOT NULL,
    credit_table  integer NOT NULL,
    override_by   text COLLATE "C",
    reason        text,
    voucher       text,
    voided_at     timestamptz,
    void_reason   text,
    body_sha      bytea NOT NULL,
    PRIMARY KEY (store, id)
);

CREATE INDEX trade_in_id ON trade_in (id);
CREATE INDEX trade_in_pair_ref ON trade_in (pair_ref);

-- Rule sets, credit tables and posture bands are numbered, dated and never
-- changed: a new one gets the next number.
CREATE TABLE rule_set (
    number     integer PRIMARY KEY,
    from_day   text COLLATE "C" NOT NULL,
    body       text NOT NULL,
    sha        bytea NOT NULL,
    note       text,
    created_by text,
    created_at timestamptz NOT NULL
);

CREATE TABLE credit_table (
    number     integer PRIMARY KEY,
    from_day   text COLLATE "C" NOT NULL,
    body       text NOT NULL,
    sha        bytea NOT NULL,
    note       text,
    created_by text,
    created_at timestamptz NOT NULL
);

CREATE TABLE posture_band (
    number     integer PRIMARY KEY,
    from_day   text COLLATE "C" NOT NULL,
    body       text NOT NULL,
    sha        bytea NOT NULL,
    note       text,
    created_by text,
    created_at timestamptz NOT NULL
);

-- A photo is known by the SHA-256 of its stripped bytes; photo_alias leads from
-- that of the bytes sent.
CREATE TABLE photo (
    sha         bytea PRIMARY KEY,
    bytes       integer NOT NULL,
    width       integer NOT NULL,
    height      integer NOT NULL,
    created_at  timestamptz NOT NULL,
    deleted_at  timestamptz
);

CREATE TABLE photo_alias (
    sent_sha bytea PRIMARY KEY,
    sha      bytea NOT NULL REFERENCES photo (sha)
);

-- points are the four points a tilt was taken from, as JSON.
CREATE TABLE inspection_photo (
    store         text COLLATE "C" NOT NULL,
    inspection_id uuid NOT NULL,
    sha           bytea NOT NULL REFERENCES photo (sha),
    foot          smallint NOT NULL,
    view          text NOT NULL,
    points        text,
    PRIMARY KEY (store, inspection_id, sha)
);

CREATE INDEX inspection_photo_sha ON inspection_photo (sha);

-- +goose Down
DROP TABLE inspection_photo;
DROP TABLE photo_alias;
DROP TABLE photo;
DROP TABLE posture_band;
DROP TABLE credit_table;
DROP TABLE rule_set;
DROP TABLE trade_in;
