-- Why a doubted record is right all the same. The views are made anew, since a view keeps the columns it began with.
ALTER TABLE revisions ADD COLUMN kept VARCHAR;

DROP VIEW current_units;
DROP VIEW latest;

CREATE VIEW latest AS
SELECT * FROM revisions
QUALIFY row_number() OVER (PARTITION BY record_id ORDER BY revision DESC, made_at DESC) = 1;

CREATE VIEW current_units AS SELECT * FROM latest WHERE "action" <> 'withdraw';
