-- +goose Up
-- mark is the drawing that a person is found by on a tablet; lang the language
-- they read, a BCP 47 tag.
ALTER TABLE account ADD COLUMN mark TEXT;
ALTER TABLE account ADD COLUMN lang TEXT;

-- Somebody stood by something on another person's screen with a secret of their
-- own: another credit than the table's, or what a second reader says. subject is
-- the reading it is about.
CREATE TABLE sign_off (
    subject BLOB NOT NULL,
    purpose TEXT NOT NULL,
    account TEXT NOT NULL,
    device  TEXT,
    at      INTEGER NOT NULL,
    PRIMARY KEY (subject, purpose, account)
) STRICT;

-- +goose Down
DROP TABLE sign_off;
ALTER TABLE account DROP COLUMN lang;
ALTER TABLE account DROP COLUMN mark;
