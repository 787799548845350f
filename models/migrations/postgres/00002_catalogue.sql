-- +goose Up

-- identity is brand, model and version folded; search is what type-ahead looks in.
-- A model typed in at a bench that the office has linked points to the catalogued one.
CREATE TABLE shoe_model (
    id             uuid PRIMARY KEY,
    brand          text NOT NULL,
    model          text NOT NULL,
    version        text,
    identity       text COLLATE "C" NOT NULL,
    search         text COLLATE "C" NOT NULL,
    category       text,
    cushioning     text,
    medial_support text,
    stack_mm       smallint,
    drop_mm        smallint,
    flexibility    text,
    widths         text,
    released       text,
    retired        text,
    typed_in       boolean NOT NULL,
    linked_to      uuid REFERENCES shoe_model (id),
    as_new         integer NOT NULL,
    created_at     timestamptz NOT NULL
);

CREATE UNIQUE INDEX shoe_model_identity ON shoe_model (identity);
CREATE INDEX shoe_model_waiting ON shoe_model (created_at) WHERE typed_in AND linked_to IS NULL;

CREATE TABLE shoe_gtin (
    gtin     text COLLATE "C" PRIMARY KEY,
    model_id uuid NOT NULL REFERENCES shoe_model (id)
);

CREATE INDEX shoe_gtin_model ON shoe_gtin (model_id);

-- What a model is like out of the box; a change is a new number, so that a
-- reading can always be judged again as it was.
CREATE TABLE as_new (
    model_id   uuid NOT NULL REFERENCES shoe_model (id),
    number     integer NOT NULL,
    body       text NOT NULL,
    created_at timestamptz NOT NULL,
    PRIMARY KEY (model_id, number)
);

CREATE TABLE sale (
    store    text COLLATE "C" NOT NULL REFERENCES store (code),
    model_id uuid NOT NULL REFERENCES shoe_model (id),
    batch    text COLLATE "C" NOT NULL,
    month    text COLLATE "C" NOT NULL,
    pairs    integer NOT NULL,
    PRIMARY KEY (store, model_id, batch, month)
);

-- store is empty where the event moves the whole fleet.
CREATE TABLE event (
    store    text COLLATE "C" NOT NULL,
    from_day text COLLATE "C" NOT NULL,
    to_day   text COLLATE "C" NOT NULL,
    word     text COLLATE "C" NOT NULL,
    PRIMARY KEY (store, from_day, to_day, word)
);

-- +goose Down
DROP TABLE event;
DROP TABLE sale;
DROP TABLE as_new;
DROP TABLE shoe_gtin;
DROP TABLE shoe_model;
