-- +goose Up
-- The last snapshot of the fleet in memory, in parts, for servers that come up
-- elsewhere. It can be made anew at any time: not in the log, and empty after a crash.
CREATE UNLOGGED TABLE fleet_snapshot (
    part integer PRIMARY KEY,
    body bytea NOT NULL
);

-- It is packed already.
ALTER TABLE fleet_snapshot ALTER COLUMN body SET STORAGE EXTERNAL;

-- +goose Down
DROP TABLE fleet_snapshot;
