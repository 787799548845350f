-- +goose Up
CREATE TABLE teaching_set (
    id         uuid NOT NULL,
    version    integer NOT NULL,
    title      text NOT NULL,
    lesson     text,
    created_by text COLLATE "C" NOT NULL,
    created_at timestamptz NOT NULL,
    retired_at timestamptz,
    PRIMARY KEY (id, version)
);

CREATE TABLE teaching_item (
    set_id        uuid NOT NULL,
    version       integer NOT NULL,
    place         integer NOT NULL,
    store         text COLLATE "C" NOT NULL,
    inspection_id uuid NOT NULL,
    caption       text,
    PRIMARY KEY (set_id, version, place)
);

CREATE TABLE round (
    id          uuid PRIMARY KEY,
    title       text NOT NULL,
    set_id      uuid NOT NULL,
    set_version integer NOT NULL,
    created_by  text COLLATE "C" NOT NULL,
    created_at  timestamptz NOT NULL,
    closes_at   timestamptz NOT NULL,
    closed_at   timestamptz
);

CREATE TABLE round_fitter (
    round_id    uuid NOT NULL REFERENCES round (id),
    account     text COLLATE "C" NOT NULL,
    finished_at timestamptz,
    PRIMARY KEY (round_id, account)
);

-- The reading itself is an inspection of kind blind.
CREATE TABLE round_grade (
    round_id      uuid NOT NULL REFERENCES round (id),
    place         integer NOT NULL,
    account       text COLLATE "C" NOT NULL,
    store         text COLLATE "C" NOT NULL,
    inspection_id uuid NOT NULL,
    PRIMARY KEY (round_id, place, account)
);

CREATE TABLE signal (
    id         uuid PRIMARY KEY,
    kind       text NOT NULL,
    scope      text COLLATE "C" NOT NULL,
    subject    text COLLATE "C" NOT NULL,
    month      text COLLATE "C" NOT NULL,
    evidence   text NOT NULL,
    state      text COLLATE "C" NOT NULL,
    taken_by   text COLLATE "C",
    outcome    text,
    created_at timestamptz NOT NULL,
    changed_at timestamptz NOT NULL
);

CREATE UNIQUE INDEX signal_once ON signal (kind, scope, subject, month);
CREATE INDEX signal_state ON signal (state, month);

CREATE TABLE signal_note (
    number     bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    signal_id  uuid NOT NULL REFERENCES signal (id),
    account    text COLLATE "C" NOT NULL,
    words      text NOT NULL,
    created_at timestamptz NOT NULL
);

CREATE INDEX signal_note_signal ON signal_note (signal_id);

CREATE TABLE report (
    id          uuid PRIMARY KEY,
    month       text COLLATE "C" NOT NULL,
    scope       text COLLATE "C" NOT NULL,
    revision    integer NOT NULL,
    as_of       timestamptz NOT NULL,
    fingerprint bytea NOT NULL,
    created_at  timestamptz NOT NULL
);

CREATE UNIQUE INDEX report_revision ON report (month, scope, revision);

CREATE TABLE report_file (
    report_id uuid NOT NULL REFERENCES report (id),
    format    text NOT NULL,
    sha       bytea NOT NULL,
    body      bytea NOT NULL,
    PRIMARY KEY (report_id, format)
);

CREATE TABLE job_run (
    job         text COLLATE "C" NOT NULL,
    period      text COLLATE "C" NOT NULL,
    owner       text NOT NULL,
    lease_until timestamptz NOT NULL,
    attempts    integer NOT NULL,
    done_at     timestamptz,
    PRIMARY KEY (job, period)
);

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
