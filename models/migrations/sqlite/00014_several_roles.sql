-- Further roles of an account, each with its scope, as words with spaces
-- between: trainer@fleet manager@store:E1. The main role and where it is held
-- stay in role and scopes.

-- +goose Up
ALTER TABLE account ADD COLUMN also TEXT;

-- +goose Down
ALTER TABLE account DROP COLUMN also;
