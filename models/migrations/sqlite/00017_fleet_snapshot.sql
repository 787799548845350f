-- +goose Up
-- PostgreSQL keeps the last snapshot of the fleet in memory here, for servers that
-- come up elsewhere. Beside SQLite lies the file itself, and the table stays empty.
CREATE TABLE fleet_snapshot (
    part INTEGER PRIMARY KEY,
    body BLOB NOT NULL
) STRICT;

-- +goose Down
DROP TABLE fleet_snapshot;
