-- +goose Up
-- The pairs that were on the feet at a fitting, in the words of its CSV.
ALTER TABLE fitting ADD COLUMN tried text;

-- +goose Down
ALTER TABLE fitting DROP COLUMN tried;
