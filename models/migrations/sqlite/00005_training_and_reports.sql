-- +goose Up
CREATE TABLE teaching_set (
    id         BLOB NOT NULL,
    version    INTEGER NOT NULL,
    title      TEXT NOT NULL,
    lesson     TEXT,
    created_by TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    retired_at INTEGER,
    PRIMARY KEY (id, version)
) STRICT;

CREATE TABLE teaching_item (
    set_id        BLOB NOT NULL,
    version       INTEGER NOT NULL,
    place         INTEGER NOT NULL,
    store         TEXT NOT NULL,
    inspection_id BLOB NOT NULL,
    caption       TEXT,
    PRIMARY KEY (set_id, version, place)
) STRICT;

CREATE TABLE round (
    id          BLOB PRIMARY KEY,
    title       TEXT NOT NULL,
    set_id      BLOB NOT NULL,
    set_version INTEGER NOT NULL,
    created_by  TEXT NOT NULL,
    created_at  INTEGER NOT NULL,
    closes_at   INTEGER NOT NULL,
    closed_at   INTEGER
) STRICT;

CREATE TABLE round_fitter (
    round_id    BLOB NOT NULL REFERENCES round (id),
    account     TEXT NOT NULL,
    finished_at INTEGER,
    PRIMARY KEY (round_id, account)
) STRICT;

-- The reading itself is an inspection of kind blind.
CREATE TABLE round_grade (
    round_id      BLOB NOT NULL REFERENCES round (id),
    place         INTEGER NOT NULL,
    account       TEXT NOT NULL,
    store         TEXT NOT NULL,
    inspection_id BLOB NOT NULL,
    PRIMARY KEY (round_id, place, account)
) STRICT;

CREATE TABLE signal (
    id         BLOB PRIMARY KEY,
    kind       TEXT NOT NULL,
    scope      TEXT NOT NULL,
    subject    TEXT NOT NULL,
    month      TEXT NOT NULL,
    evidence   TEXT NOT NULL,
    state      TEXT NOT NULL,
    taken_by   TEXT,
    outcome    TEXT,
    created_at INTEGER NOT NULL,
    changed_at INTEGER NOT NULL
) STRICT;

CREATE UNIQUE INDEX signal_once ON signal (kind, scope, subject, month);
CREATE INDEX signal_state ON signal (state, month);

CREATE TABLE signal_note (
    number     INTEGER PRIMARY KEY AUTOINCREMENT,
    signal_id  BLOB NOT NULL REFERENCES signal (id),
    account    TEXT NOT NULL,
    words      TEXT NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;

CREATE INDEX signal_note_signal ON signal_note (signal_id);

CREATE TABLE report (
    id          BLOB PRIMARY KEY,
    month       TEXT NOT NULL,
    scope       TEXT NOT NULL,
    revision    INTEGER NOT NULL,
    as_of       INTEGER NOT NULL,
    fingerprint BLOB NOT NULL,
    created_at  INTEGER NOT NULL
) STRICT;

CREATE UNIQUE INDEX report_revision ON report (month, scope, revision);

CREATE TABLE report_file (
    report_id BLOB NOT NULL REFERENCES report (id),
    format    TEXT NOT NULL,
    sha       BLOB NOT NULL,
    body      BLOB NOT NULL,
    PRIMARY KEY (report_id, format)
) STRICT;

CREATE TABLE job_run (
    job         TEXT NOT NULL,
    period      TEXT NOT NULL,
    owner       TEXT NOT NULL,
    lease_until INTEGER NOT NULL,
    attempts    INTEGER NOT NULL,
    done_at     INTEGER,
    PRIMARY KEY (job, period)
) STRICT;

-- +goose Down
DROP TABLE job_run;
DROP TABLE report_file;
DROP TABLE report;
DROP TABLE signal_note;
DROP TABLE signal;
DROP TABLE round_grade;
DROP TABLE round_fitter;
DROP TABLE round;
DROP TABLE teaching_item;
DROP TABLE teaching_set;
