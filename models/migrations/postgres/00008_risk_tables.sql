-- +goose Up
-- Risk by distance, as the service computes it from measured life: numbered,
-- dated and never changed, like the tables of 00004.
CREATE TABLE risk_table (
    number     integer PRIMARY KEY,
    from_day   text COLLATE "C" NOT NULL,
    body       text NOT NULL,
    sha        bytea NOT NULL,
    note       text,
    created_by text,
    created_at timestamptz NOT NULL
);

-- +goose Down
DROP TABLE risk_table;
