-- +goose Up

-- What happened to inspections and pairs, for those who keep a copy. tx is the
-- transaction that wrote the row: a reader goes no further than the oldest one
-- still open.
CREATE TABLE change (
    number   bigint GENERATED ALWAYS AS IDENTITY,
    tx       xid8 NOT NULL DEFAULT pg_current_xact_id(),
    op       smallint NOT NULL,
    store    text COLLATE "C",
    id       uuid,
    pair_ref text COLLATE "C",
    PRIMARY KEY (tx, number)
);

-- runner is set where before or after names one, so that an erasure finds it.
CREATE TABLE audit (
    number  bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    at      timestamptz NOT NULL,
    account text COLLATE "C",
    device  text COLLATE "C",
    action  text COLLATE "C" NOT NULL,
    subject text COLLATE "C" NOT NULL,
    runner  text COLLATE "C",
    before  text,
    after   text
);

CREATE INDEX audit_subject ON audit (subject);
CREATE INDEX audit_account ON audit (account);
CREATE INDEX audit_runner ON audit (runner) WHERE runner IS NOT NULL;

-- Which runners were erased, by a salted hash of the code, so that an older
-- backup can be cleared again. It leads to no record.
CREATE TABLE erasure (
    salt      bytea NOT NULL,
    code_sha  bytea NOT NULL,
    erased_at timestamptz NOT NULL,
    PRIMARY KEY (code_sha)
);

-- +goose Down
DROP TABLE erasure;
DROP TABLE audit;
DROP TABLE change;
