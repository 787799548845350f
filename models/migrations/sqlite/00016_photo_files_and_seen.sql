-- +goose Up
-- A photo's file has a name of its own beside the SHA-256, so that none is used
-- twice: a photo that is sent again while its file is being deleted gets another.
-- It is empty for the photos of before. photo_gone holds the files that are to be
-- deleted, by names that no photo will have again.
ALTER TABLE photo ADD COLUMN file TEXT NOT NULL DEFAULT '';

CREATE TABLE photo_gone (
    sha  BLOB NOT NULL,
    file TEXT NOT NULL,
    PRIMARY KEY (sha, file)
) STRICT;

-- Who was shown the verdict of a reading, and when first: they can't read its pair
-- blind that day.
CREATE TABLE verdict_seen (
    inspection_id BLOB NOT NULL,
    staff         TEXT NOT NULL,
    seen_at       INTEGER NOT NULL,
    PRIMARY KEY (inspection_id, staff)
) STRICT;

CREATE INDEX verdict_seen_at ON verdict_seen (seen_at);

-- +goose Down
-- The schema before finds only files without a name of their own.
DROP TABLE verdict_seen;
DROP TABLE photo_gone;
ALTER TABLE photo DROP COLUMN file;
