-- The shape of the core's sheets and their window; the views are made anew, since a view keeps the columns it began with.
ALTER TABLE revisions ADD COLUMN lamination VARCHAR;
ALTER TABLE revisions ADD COLUMN window_width_mm DOUBLE;
ALTER TABLE revisions ADD COLUMN window_height_mm DOUBLE;

DROP VIEW current_units;
DROP VIEW latest;

CREATE VIEW latest AS
SELECT * FROM revisions
QUALIFY row_number() OVER (PARTITION BY record_id ORDER BY revision DESC, made_at DESC) = 1;

CREATE VIEW current_units AS SELECT * FROM latest WHERE "action" <> 'withdraw';
