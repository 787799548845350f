-- Photos belong to a corrected reading and to all that took its place, as they
-- do since photos follow corrections; these are of before. A reading that was
-- erased with its runner takes none.

-- +goose Up
INSERT INTO inspection_photo (store, inspection_id, sha, foot, view, points)
WITH RECURSIVE follows (store, id, sha, foot, view, points) AS (
    SELECT store, inspection_id, sha, foot, view, points FROM inspection_photo
    UNION
    SELECT f.store, n.id, f.sha, f.foot, f.view, f.points
    FROM follows f
    JOIN inspection i ON i.store = f.store AND i.id = f.id
    JOIN inspection n ON n.store = i.store AND n.id = i.superseded_by
    WHERE NOT n.erased
)
SELECT store, id, sha, foot, view, points FROM follows WHERE true
ON CONFLICT DO NOTHING;

-- +goose Down
-- What a photo shows is no less true of the schema before.
SELECT 1;
