-- +goose Up
-- Risk by distance, as the service computes it from measured life: numbered,
-- dated and never changed, like the tables of 00004.
CREATE TABLE risk_table (
    number     INTEGER PRIMARY KEY,
    from_day   TEXT NOT NULL,
    body       TEXT NOT NULL,
    sha        BLOB NOT NULL,
    note       TEXT,
    created_by TEXT,
    created_at INTEGER NOT NULL
) STRICT;

-- +goose Down
DROP TABLE risk_table;
