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

-- +goose Down
-- The schema before finds only files without a name of their own.
DROP TABLE photo_gone;
ALTER TABLE photo DROP COLUMN file;
