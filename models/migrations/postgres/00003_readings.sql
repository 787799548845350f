-- +goose Up
CREATE TABLE runner (
    code          text COLLATE "C" PRIMARY KEY,
    teaching_date text,
    teaching_text text,
    health_date   text,
    health_text   text,
    unit          text,
    mass_band     text,
    created_at    timestamptz NOT NULL,
    erased_at     timestamptz
);

CREATE TABLE pair (
    ref         text COLLATE "C" PRIMARY KEY,
    model_id    uuid,
    size_label  text,
    size_mm     smallint,
    batch       text,
    runner      text COLLATE "C",
    bought_on   text,
    store       text COLLATE "C" NOT NULL,
    created_at  timestamptz NOT NULL,
    lower_km    integer,
    upper_km    integer,
    contradicts smallint NOT NULL,
    readings    integer NOT NULL,
    last_store  text COLLATE "C" NOT NULL,
    last_id     uuid,
    ended_at    timestamptz,
    merged_into text COLLATE "C",
    version     bigint NOT NULL
);

CREATE INDEX pair_runner ON pair (runner, model_id) WHERE runner IS NOT NULL;
CREATE INDEX pair_last_store ON pair (last_store, ref);
CREATE INDEX pair_contradicts ON pair (ref) WHERE contradicts > 0;

-- One reading of a pair is one row. No foreign keys here: store, model and pair
-- are looked up in the statement that writes the row, and nothing is deleted.
CREATE TABLE inspection (
    id              uuid NOT NULL,
    at              timestamptz NOT NULL,
    received_at     timestamptz NOT NULL,
    model_id        uuid,
    clock_offset_ms integer,
    distance        integer,
    km              integer,
    age_days        integer,
    flags           integer NOT NULL,
    as_new          integer NOT NULL,
    rules           integer NOT NULL,
    kind            smallint NOT NULL,
    size_mm         smallint,
    gait            smallint,
    gait_by         smallint,
    gait_before     smallint,
    l_posture       smallint,
    r_posture       smallint,
    strike          smallint,
    used_for        smallint,
    km_unit         smallint,
    km_source       smallint,
    surface         smallint,
    l_tilt          smallint,
    l_tilt_u        smallint,
    l_tilt_n        smallint,
    r_tilt          smallint,
    r_tilt_u        smallint,
    r_tilt_n        smallint,
    advised_sent    smallint,
    given           smallint,
    advised         smallint,
    how             smallint,
    grade           smallint,
    route           smallint,
    heel            smallint,
    fore            smallint,
    side            smallint,
    decided_by      smallint,
    l_heel          smallint,
    l_fore          smallint,
    l_ml_heel       smallint,
    l_ml_fore       smallint,
    l_centre_heel   smallint,
    l_centre_fore   smallint,
    l_fore_aft      smallint,
    r_heel          smallint,
    r_fore          smallint,
    r_ml_heel       smallint,
    r_ml_fore       smallint,
    r_centre_heel   smallint,
    r_centre_fore   smallint,
    r_fore_aft      smallint,
    has_values      boolean NOT NULL,
    erased          boolean NOT NULL,
    store           text COLLATE "C" NOT NULL,
    pair_ref        text COLLATE "C",
    staff           text COLLATE "C" NOT NULL,
    device          text COLLATE "C",
    day             text COLLATE "C" NOT NULL,
    month           text COLLATE "C" NOT NULL,
    brand           text,
    model           text,
    version         text,
    size_label      text,
    runner          text COLLATE "C",
    bought_on       text,
    batch           text,
    l_zones         text NOT NULL CHECK (length(l_zones) = 10),
    r_zones         text NOT NULL CHECK (length(r_zones) = 10),
    l_checks        text NOT NULL,
    r_checks        text NOT NULL,
    pair_checks     text NOT NULL,
    codes           text,
    engine          text,
    second_reader   text,
    second_on       text,
    given_reason    text,
    note            text,
    supersedes      uuid,
    superseded_by   uuid,
    voided_at       timestamptz,
    void_reason     text,
    body_sha        bytea,
    PRIMARY KEY (store, id)
);

CREATE INDEX inspection_id ON inspection (id);
CREATE INDEX inspection_day ON inspection (day, id);
CREATE INDEX inspection_pair_ref ON inspection (pair_ref);
CREATE INDEX inspection_runner ON inspection (runner) WHERE runner IS NOT NULL;
CREATE UNIQUE INDEX inspection_supersedes ON inspection (store, supersedes) WHERE supersedes IS NOT NULL;

-- What is rarely read: depths, degrees, durometer, yaw, edges. name is the
-- column's name; foot is 0 left, 1 right, 2 pair; cant is why it can't be read.
CREATE TABLE inspection_value (
    store text COLLATE "C" NOT NULL,
    id    uuid NOT NULL,
    foot  smallint NOT NULL,
    name  text COLLATE "C" NOT NULL,
    value integer,
    cant  text,
    PRIMARY KEY (store, id, foot, name)
);

CREATE TABLE fitting (
    store          text COLLATE "C" NOT NULL,
    id             uuid NOT NULL,
    staff          text COLLATE "C" NOT NULL,
    runner         text COLLATE "C",
    at             timestamptz NOT NULL,
    received_at    timestamptz NOT NULL,
    day            text COLLATE "C" NOT NULL,
    month          text COLLATE "C" NOT NULL,
    l_length_mm    smallint,
    l_width_mm     smallint,
    l_posture      text NOT NULL,
    r_length_mm    smallint,
    r_width_mm     smallint,
    r_posture      text NOT NULL,
    gait           smallint,
    gait_by        smallint,
    strike         smallint,
    strike_by      text,
    l_strike_index smallint,
    r_strike_index smallint,
    surfaces       text,
    used_for       smallint,
    weekly_km      integer,
    before_wear    smallint,
    old_pair       text COLLATE "C",
    chosen_id      uuid,
    chosen_size    text,
    chosen_pair    text COLLATE "C",
    referred       boolean NOT NULL,
    note           text,
    erased         boolean NOT NULL,
    body_sha       bytea,
    PRIMARY KEY (store, id)
);

CREATE INDEX fitting_id ON fitting (id);
CREATE INDEX fitting_runner ON fitting (runner) WHERE runner IS NOT NULL;

-- +goose Down
DROP TABLE fitting;
DROP TABLE inspection_value;
DROP TABLE inspection;
DROP TABLE pair;
DROP TABLE runner;
