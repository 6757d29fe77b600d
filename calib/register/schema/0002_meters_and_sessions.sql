-- The user's own meters, a row for each revision of one range that reads one quantity; rows are added and never
-- changed. Times are UTC.
CREATE TABLE meter_revisions (
    meter_id VARCHAR NOT NULL,
    revision INTEGER NOT NULL,
    "action" VARCHAR NOT NULL,
    made_at TIMESTAMP NOT NULL,
    name VARCHAR NOT NULL,
    reads VARCHAR NOT NULL,
    range_label VARCHAR NOT NULL,
    percent DOUBLE NOT NULL,
    counts DOUBLE NOT NULL,
    resolution DOUBLE NOT NULL
);

CREATE VIEW latest_meters AS
SELECT * FROM meter_revisions
QUALIFY row_number() OVER (PARTITION BY meter_id ORDER BY revision DESC, made_at DESC) = 1;

-- Sessions at the bench, a row for each time that one was kept; what was entered is JSON by step.
CREATE TABLE session_revisions (
    session_id VARCHAR NOT NULL,
    revision INTEGER NOT NULL,
    made_at TIMESTAMP NOT NULL,
    tag VARCHAR NOT NULL,
    contributor VARCHAR NOT NULL,
    step VARCHAR NOT NULL,
    state VARCHAR NOT NULL,
    entries VARCHAR NOT NULL
);

CREATE VIEW latest_sessions AS
SELECT *, min(made_at) OVER (PARTITION BY session_id) AS started_at FROM session_revisions
QUALIFY row_number() OVER (PARTITION BY session_id ORDER BY revision DESC, made_at DESC) = 1;
