-- Who may write a register that many share: their logins in its catalogue, a row for each time that one was given a role;
-- the last counts. Rows are added and never changed. Times are UTC.
CREATE TABLE members (login VARCHAR NOT NULL, "role" VARCHAR NOT NULL, contributor VARCHAR, made_at TIMESTAMP NOT NULL);

CREATE VIEW latest_members AS
SELECT * FROM members QUALIFY row_number() OVER (PARTITION BY login ORDER BY made_at DESC) = 1;

-- As what a revision was written: 'curator', or 'contributor ' and whose; nothing where nobody has a role. What somebody
-- wrote who may not revise that contributor's records does not count. The views are made anew, for the column's sake.
ALTER TABLE revisions ADD COLUMN written_as VARCHAR;

DROP VIEW current_units;
DROP VIEW latest;

CREATE VIEW latest AS
SELECT * FROM revisions
WHERE written_as IS NULL OR written_as = 'curator' OR written_as = 'contributor ' || contributor
QUALIFY row_number() OVER (PARTITION BY record_id ORDER BY revision DESC, made_at DESC) = 1;

CREATE VIEW current_units AS SELECT * FROM latest WHERE "action" <> 'withdraw';

CREATE VIEW foreign_revisions AS
SELECT * FROM revisions
WHERE NOT (written_as IS NULL OR written_as = 'curator' OR written_as = 'contributor ' || contributor);
