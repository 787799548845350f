-- +goose Up
-- A credit is signed off for one amount, in minor units of a currency, so that
-- one that was signed can't be raised afterwards. What was signed before this
-- named no amount and opens nothing any more.
ALTER TABLE sign_off ADD COLUMN credit bigint NOT NULL DEFAULT -1;
ALTER TABLE sign_off ADD COLUMN currency text COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE sign_off ALTER COLUMN credit DROP DEFAULT;
ALTER TABLE sign_off ALTER COLUMN currency DROP DEFAULT;
ALTER TABLE sign_off DROP CONSTRAINT sign_off_pkey;
ALTER TABLE sign_off ADD PRIMARY KEY (subject, purpose, account, credit, currency);

-- +goose Down
ALTER TABLE sign_off DROP CONSTRAINT sign_off_pkey;
DELETE FROM sign_off s WHERE EXISTS (
    SELECT 1 FROM sign_off o
    WHERE o.subject = s.subject AND o.purpose = s.purpose AND o.account = s.account
      AND (o.credit, o.currency) < (s.credit, s.currency)
);
ALTER TABLE sign_off DROP COLUMN currency;
ALTER TABLE sign_off DROP COLUMN credit;
ALTER TABLE sign_off ADD PRIMARY KEY (subject, purpose, account);
