-- +goose Up
-- A second person signs for one verdict in place of another, as models numbers
-- them, 0 for what is about none; used_at is when the record that takes the
-- sign-off was stored, and a sign-off serves once.
ALTER TABLE sign_off ADD COLUMN advised smallint NOT NULL DEFAULT 0;
ALTER TABLE sign_off ADD COLUMN given smallint NOT NULL DEFAULT 0;
ALTER TABLE sign_off ADD COLUMN used_at timestamptz;
ALTER TABLE sign_off ALTER COLUMN advised DROP DEFAULT;
ALTER TABLE sign_off ALTER COLUMN given DROP DEFAULT;
ALTER TABLE sign_off DROP CONSTRAINT sign_off_pkey;
ALTER TABLE sign_off ADD PRIMARY KEY (subject, purpose, account, credit, currency, advised, given);

-- Why a reading takes the place of the one it supersedes.
ALTER TABLE inspection ADD COLUMN amend_reason text;

-- Readings whose second person was named off line (bit 2048 of flags) are few
-- among all, and wait for a manager.
CREATE INDEX inspection_unproven ON inspection (day, id) WHERE (flags & 2048) <> 0;

-- +goose Down
DROP INDEX inspection_unproven;
ALTER TABLE inspection DROP COLUMN amend_reason;
ALTER TABLE sign_off DROP CONSTRAINT sign_off_pkey;
DELETE FROM sign_off s WHERE EXISTS (
    SELECT 1 FROM sign_off o
    WHERE o.subject = s.subject AND o.purpose = s.purpose AND o.account = s.account
      AND o.credit = s.credit AND o.currency = s.currency
      AND (o.advised, o.given) < (s.advised, s.given)
);
ALTER TABLE sign_off DROP COLUMN used_at;
ALTER TABLE sign_off DROP COLUMN given;
ALTER TABLE sign_off DROP COLUMN advised;
ALTER TABLE sign_off ADD PRIMARY KEY (subject, purpose, account, credit, currency);
