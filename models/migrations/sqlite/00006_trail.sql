-- +goose Up

-- What happened to inspections and pairs, for those who keep a copy. tx is the
-- transaction that wrote the row: a reader goes no further than the oldest one
-- still open.
CREATE TABLE change (
    number   INTEGER PRIMARY KEY AUTOINCREMENT,
    tx       INTEGER NOT NULL DEFAULT 0,
    op       INTEGER NOT NULL,
    store    TEXT,
    id       BLOB,
    pair_ref TEXT
) STRICT;

-- runner is set where before or after names one, so that an erasure finds it.
CREATE TABLE audit (
    number  INTEGER PRIMARY KEY AUTOINCREMENT,
    at      INTEGER NOT NULL,
    account TEXT,
    device  TEXT,
    action  TEXT NOT NULL,
    subject TEXT NOT NULL,
    runner  TEXT,
    before  TEXT,
    after   TEXT
) STRICT;

CREATE INDEX audit_subject ON audit (subject);
CREATE INDEX audit_account ON audit (account);
CREATE INDEX audit_runner ON audit (runner) WHERE runner IS NOT NULL;

-- Which runners were erased, by a salted hash of the code, so that an older
-- backup can be cleared again. It leads to no record.
CREATE TABLE erasure (
    salt      BLOB NOT NULL,
    code_sha  BLOB NOT NULL,
    erased_at INTEGER NOT NULL,
    PRIMARY KEY (code_sha)
) STRICT;

-- +goose Down
DROP TABLE erasure;
DROP TABLE audit;
DROP TABLE change;
