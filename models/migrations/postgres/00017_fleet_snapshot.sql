-- +goose Up
-- The last snapshot of the fleet in memory, in parts, for servers that come up
-- elsewhere: that of the newest made whose end is there. It can be made anew at any
-- time: not in the log, and empty after a crash.
CREATE UNLOGGED TABLE fleet_snapshot (
    made bigint NOT NULL,
    part integer NOT NULL,
    ends boolean NOT NULL,
    body bytea,
    PRIMARY KEY (made, part)
);

-- It is packed already.
ALTER TABLE fleet_snapshot ALTER COLUMN body SET STORAGE EXTERNAL;

-- +goose Down
DROP TABLE fleet_snapshot;
