-- +goose Up
-- A photo's file has a name of its own beside the SHA-256, so that none is used
-- twice: a photo that is sent again while its file is being deleted gets another.
-- It is empty for the photos of before. photo_gone holds the files that are to be
-- deleted, by names that no photo will have again.
ALTER TABLE photo ADD COLUMN file text NOT NULL DEFAULT '';

CREATE TABLE photo_gone (
    sha  bytea NOT NULL,
    file text NOT NULL,
    PRIMARY KEY (sha, file)
);

-- Who was shown the verdict of a reading, and when first: they can't read its pair
-- blind that day.
CREATE TABLE verdict_seen (
    inspection_id uuid NOT NULL,
    staff         text COLLATE "C" NOT NULL,
    seen_at       timestamptz NOT NULL,
    PRIMARY KEY (inspection_id, staff)
);

CREATE INDEX verdict_seen_at ON verdict_seen (seen_at);

-- +goose Down
-- The schema before finds only files without a name of their own.
DROP TABLE verdict_seen;
DROP TABLE photo_gone;
ALTER TABLE photo DROP COLUMN file;
