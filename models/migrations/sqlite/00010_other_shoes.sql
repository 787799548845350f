-- +goose Up
-- Readings of two models, or of sizes over 5 mm apart, can't be of one pair: as
-- models.Life says it, 3 is OtherShoe. kind 3 is blind. Those who keep a copy
-- are told by a change of op 4, PairMoved.
INSERT INTO change (op, pair_ref)
SELECT 4, pair_ref FROM inspection
WHERE pair_ref IS NOT NULL AND kind <> 3 AND voided_at IS NULL AND superseded_by IS NULL
GROUP BY pair_ref
HAVING count(DISTINCT model_id) > 1 OR max(size_mm) - min(size_mm) > 5;

UPDATE pair SET contradicts = 3, lower_km = NULL, upper_km = NULL, version = version + 1
WHERE ref IN (
    SELECT pair_ref FROM inspection
    WHERE pair_ref IS NOT NULL AND kind <> 3 AND voided_at IS NULL AND superseded_by IS NULL
    GROUP BY pair_ref
    HAVING count(DISTINCT model_id) > 1 OR max(size_mm) - min(size_mm) > 5
);

-- +goose Down
-- verify recounts what the schema before says of them.
SELECT 1;
