-- +goose Up
-- PostgreSQL keeps the last snapshot of the fleet in memory here, for servers that
-- come up elsewhere. Beside SQLite lies the file itself, and the table stays empty.
CREATE TABLE fleet_snapshot (
    made INTEGER NOT NULL,
    part INTEGER NOT NULL,
    ends INTEGER NOT NULL,
    body BLOB,
    PRIMARY KEY (made, part)
) STRICT;

-- +goose Down
DROP TABLE fleet_snapshot;
