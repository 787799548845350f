-- +goose Up
CREATE TABLE runner (
    code          TEXT PRIMARY KEY,
    teaching_date TEXT,
    teaching_text TEXT,
    health_date   TEXT,
    health_text   TEXT,
    unit          TEXT,
    mass_band     TEXT,
    created_at    INTEGER NOT NULL,
    erased_at     INTEGER
) STRICT;

CREATE TABLE pair (
    ref         TEXT PRIMARY KEY,
    model_id    BLOB,
    size_label  TEXT,
    size_mm     INTEGER,
    batch       TEXT,
    runner      TEXT,
    bought_on   TEXT,
    store       TEXT NOT NULL,
    created_at  INTEGER NOT NULL,
    lower_km    INTEGER,
    upper_km    INTEGER,
    contradicts INTEGER NOT NULL,
    readings    INTEGER NOT NULL,
    last_store  TEXT NOT NULL,
    last_id     BLOB,
    ended_at    INTEGER,
    merged_into TEXT,
    version     INTEGER NOT NULL
) STRICT;

CREATE INDEX pair_runner ON pair (runner, model_id) WHERE runner IS NOT NULL;
CREATE INDEX pair_last_store ON pair (last_store, ref);
CREATE INDEX pair_contradicts ON pair (ref) WHERE contradicts > 0;

-- One reading of a pair is one row. No foreign keys here: store, model and pair
-- are looked up in the statement that writes the row, and nothing is deleted.
CREATE TABLE inspection (
    id              BLOB NOT NULL,
    at              INTEGER NOT NULL,
    received_at     INTEGER NOT NULL,
    model_id        BLOB,
    clock_offset_ms INTEGER,
    distance        INTEGER,
    km              INTEGER,
    age_days        INTEGER,
    flags           INTEGER NOT NULL,
    as_new          INTEGER NOT NULL,
    rules           INTEGER NOT NULL,
    kind            INTEGER NOT NULL,
    size_mm         INTEGER,
    gait            INTEGER,
    gait_by         INTEGER,
    gait_before     INTEGER,
    l_posture       INTEGER,
    r_posture       INTEGER,
    strike          INTEGER,
    used_for        INTEGER,
    km_unit         INTEGER,
    km_source       INTEGER,
    surface         INTEGER,
    l_tilt          INTEGER,
    l_tilt_u        INTEGER,
    l_tilt_n        INTEGER,
    r_tilt          INTEGER,
    r_tilt_u        INTEGER,
    r_tilt_n        INTEGER,
    advised_sent    INTEGER,
    given           INTEGER,
    advised         INTEGER,
    how             INTEGER,
    grade           INTEGER,
    route           INTEGER,
    heel            INTEGER,
    fore            INTEGER,
    side            INTEGER,
    decided_by      INTEGER,
    l_heel          INTEGER,
    l_fore          INTEGER,
    l_ml_heel       INTEGER,
    l_ml_fore       INTEGER,
    l_centre_heel   INTEGER,
    l_centre_fore   INTEGER,
    l_fore_aft      INTEGER,
    r_heel          INTEGER,
    r_fore          INTEGER,
    r_ml_heel       INTEGER,
    r_ml_fore       INTEGER,
    r_centre_heel   INTEGER,
    r_centre_fore   INTEGER,
    r_fore_aft      INTEGER,
    has_values      INTEGER NOT NULL,
    erased          INTEGER NOT NULL,
    store           TEXT NOT NULL,
    pair_ref        TEXT,
    staff           TEXT NOT NULL,
    device          TEXT,
    day             TEXT NOT NULL,
    month           TEXT NOT NULL,
    brand           TEXT,
    model           TEXT,
    version         TEXT,
    size_label      TEXT,
    runner          TEXT,
    bought_on       TEXT,
    batch           TEXT,
    l_zones         TEXT NOT NULL CHECK (length(l_zones) = 10),
    r_zones         TEXT NOT NULL CHECK (length(r_zones) = 10),
    l_checks        TEXT NOT NULL,
    r_checks        TEXT NOT NULL,
    pair_checks     TEXT NOT NULL,
    codes           TEXT,
    engine          TEXT,
    second_reader   TEXT,
    second_on       TEXT,
    given_reason    TEXT,
    note            TEXT,
    supersedes      BLOB,
    superseded_by   BLOB,
    voided_at       INTEGER,
    void_reason     TEXT,
    body_sha        BLOB,
    PRIMARY KEY (store, id)
) STRICT;

CREATE INDEX inspection_id ON inspection (id);
CREATE INDEX inspection_day ON inspection (day, id);
CREATE INDEX inspection_pair_ref ON inspection (pair_ref);
CREATE INDEX inspection_runner ON inspection (runner) WHERE runner IS NOT NULL;
CREATE UNIQUE INDEX inspection_supersedes ON inspection (store, supersedes) WHERE supersedes IS NOT NULL;

-- What is rarely read: depths, degrees, durometer, yaw, edges. name is the
-- column's name; foot is 0 left, 1 right, 2 pair; cant is why it can't be read.
CREATE TABLE inspection_value (
    store TEXT NOT NULL,
    id    BLOB NOT NULL,
    foot  INTEGER NOT NULL,
    name  TEXT NOT NULL,
    value INTEGER,
    cant  TEXT,
    PRIMARY KEY (store, id, foot, name)
) STRICT;

CREATE TABLE fitting (
    store          TEXT NOT NULL,
    id             BLOB NOT NULL,
    staff          TEXT NOT NULL,
    runner         TEXT,
    at             INTEGER NOT NULL,
    received_at    INTEGER NOT NULL,
    day            TEXT NOT NULL,
    month          TEXT NOT NULL,
    l_length_mm    INTEGER,
    l_width_mm     INTEGER,
    l_posture      TEXT NOT NULL,
    r_length_mm    INTEGER,
    r_width_mm     INTEGER,
    r_posture      TEXT NOT NULL,
    gait           INTEGER,
    gait_by        INTEGER,
    strike         INTEGER,
    strike_by      TEXT,
    l_strike_index INTEGER,
    r_strike_index INTEGER,
    surfaces       TEXT,
    used_for       INTEGER,
    weekly_km      INTEGER,
    before_wear    INTEGER,
    old_pair       TEXT,
    chosen_id      BLOB,
    chosen_size    TEXT,
    chosen_pair    TEXT,
    referred       INTEGER NOT NULL,
    note           TEXT,
    erased         INTEGER NOT NULL,
    body_sha       BLOB,
    PRIMARY KEY (store, id)
) STRICT;

CREATE INDEX fitting_id ON fitting (id);
CREATE INDEX fitting_runner ON fitting (runner) WHERE runner IS NOT NULL;

-- +goose Down
DROP TABLE fitting;
DROP TABLE inspection_value;
DROP TABLE inspection;
DROP TABLE pair;
DROP TABLE runner;
