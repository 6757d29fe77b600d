-- Maker, year and transformer; the halves read singly; the basis of the rating. The views are made anew, since a view
-- keeps the columns it began with.
ALTER TABLE revisions ADD COLUMN u_primary_pct DOUBLE;
ALTER TABLE revisions ADD COLUMN hv_half_1_ohm DOUBLE;
ALTER TABLE revisions ADD COLUMN hv_half_2_ohm DOUBLE;
ALTER TABLE revisions ADD COLUMN rating_basis VARCHAR;
ALTER TABLE revisions ADD COLUMN guide_factor DOUBLE;
ALTER TABLE revisions ADD COLUMN maker VARCHAR;
ALTER TABLE revisions ADD COLUMN made_year DOUBLE;
ALTER TABLE revisions ADD COLUMN transformer VARCHAR;

DROP VIEW current_units;
DROP VIEW latest;

CREATE VIEW latest AS
SELECT * FROM revisions
QUALIFY row_number() OVER (PARTITION BY record_id ORDER BY revision DESC, made_at DESC) = 1;

CREATE VIEW current_units AS SELECT * FROM latest WHERE "action" <> 'withdraw';
