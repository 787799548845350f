-- +goose Up
-- Readings flagged as a possible fault of the shoe (bit 16 of flags) are few
-- among all, and looked at by day.
CREATE INDEX inspection_fault ON inspection (day, id) WHERE (flags & 16) <> 0;

-- +goose Down
DROP INDEX inspection_fault;
