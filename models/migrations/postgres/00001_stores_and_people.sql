-- +goose Up
CREATE TABLE meta (
    key   text PRIMARY KEY,
    value text NOT NULL
);

CREATE TABLE region (
    code     text COLLATE "C" PRIMARY KEY,
    name     text NOT NULL,
    currency text NOT NULL
);

CREATE TABLE store (
    code     text COLLATE "C" PRIMARY KEY,
    name     text NOT NULL,
    region   text COLLATE "C" NOT NULL REFERENCES region (code),
    zone     text NOT NULL,
    currency text NOT NULL,
    unit     text NOT NULL,
    retired  text
);

CREATE INDEX store_region ON store (region);

-- scopes is "fleet", or words such as "region:NORTH store:S-0001".
CREATE TABLE account (
    code          text COLLATE "C" PRIMARY KEY,
    role          text NOT NULL,
    scopes        text NOT NULL,
    retired       text,
    password_hash text,
    pin_hash      text,
    epoch         integer NOT NULL,
    created_at    timestamptz NOT NULL
);

CREATE TABLE device (
    code            text COLLATE "C" PRIMARY KEY,
    store           text COLLATE "C" NOT NULL REFERENCES store (code),
    enrolment       bytea,
    enrolment_until timestamptz,
    secret          bytea,
    enrolled_at     timestamptz,
    revoked_at      timestamptz,
    created_at      timestamptz NOT NULL
);

CREATE UNIQUE INDEX device_enrolment ON device (enrolment) WHERE enrolment IS NOT NULL;
CREATE UNIQUE INDEX device_secret ON device (secret) WHERE secret IS NOT NULL;
CREATE INDEX device_store ON device (store);

CREATE TABLE session (
    token      text COLLATE "C" PRIMARY KEY,
    data       bytea NOT NULL,
    expires_at timestamptz NOT NULL
);

CREATE INDEX session_expires_at ON session (expires_at);

CREATE TABLE api_token (
    name       text COLLATE "C" PRIMARY KEY,
    secret     bytea NOT NULL,
    role       text NOT NULL,
    scopes     text NOT NULL,
    created_by text,
    created_at timestamptz NOT NULL,
    expires_at timestamptz NOT NULL,
    revoked_at timestamptz
);

CREATE UNIQUE INDEX api_token_secret ON api_token (secret);

CREATE TABLE sign_in_attempt (
    subject     text COLLATE "C" PRIMARY KEY,
    failures    integer NOT NULL,
    window_ends timestamptz NOT NULL
);

-- +goose Down
DROP TABLE sign_in_attempt;
DROP TABLE api_token;
DROP TABLE session;
DROP TABLE device;
DROP TABLE account;
DROP TABLE store;
DROP TABLE region;
DROP TABLE meta;
