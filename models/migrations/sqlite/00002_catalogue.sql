-- +goose Up

-- identity is brand, model and version folded; search is what type-ahead looks in.
-- A model typed in at a bench that the office has linked points to the catalogued one.
CREATE TABLE shoe_model (
    id             BLOB PRIMARY KEY,
    brand          TEXT NOT NULL,
    model          TEXT NOT NULL,
    version        TEXT,
    identity       TEXT NOT NULL,
    search         TEXT NOT NULL,
    category       TEXT,
    cushioning     TEXT,
    medial_support TEXT,
    stack_mm       INTEGER,
    drop_mm        INTEGER,
    flexibility    TEXT,
    widths         TEXT,
    released       TEXT,
    retired        TEXT,
    typed_in       INTEGER NOT NULL,
    linked_to      BLOB REFERENCES shoe_model (id),
    as_new         INTEGER NOT NULL,
    created_at     INTEGER NOT NULL
) STRICT;

CREATE UNIQUE INDEX shoe_model_identity ON shoe_model (identity);
CREATE INDEX shoe_model_waiting ON shoe_model (created_at) WHERE typed_in AND linked_to IS NULL;

CREATE TABLE shoe_gtin (
    gtin     TEXT PRIMARY KEY,
    model_id BLOB NOT NULL REFERENCES shoe_model (id)
) STRICT;

CREATE INDEX shoe_gtin_model ON shoe_gtin (model_id);

-- What a model is like out of the box; a change is a new number, so that a
-- reading can always be judged again as it was.
CREATE TABLE as_new (
    model_id   BLOB NOT NULL REFERENCES shoe_model (id),
    number     INTEGER NOT NULL,
    body       TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (model_id, number)
) STRICT;

CREATE TABLE sale (
    store    TEXT NOT NULL REFERENCES store (code),
    model_id BLOB NOT NULL REFERENCES shoe_model (id),
    batch    TEXT NOT NULL,
    month    TEXT NOT NULL,
    pairs    INTEGER NOT NULL,
    PRIMARY KEY (store, model_id, batch, month)
) STRICT;

-- store is empty where the event moves the whole fleet.
CREATE TABLE event (
    store    TEXT NOT NULL,
    from_day TEXT NOT NULL,
    to_day   TEXT NOT NULL,
    word     TEXT NOT NULL,
    PRIMARY KEY (store, from_day, to_day, word)
) STRICT;

-- +goose Down
DROP TABLE event;
DROP TABLE sale;
DROP TABLE as_new;
DROP TABLE shoe_gtin;
DROP TABLE shoe_model;
