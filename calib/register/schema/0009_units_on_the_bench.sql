-- What is kept of each unit on the bench, a row for each time that something was; rows are added and never changed. Times
-- are UTC. Sessions, readings, estimates, demand and heat run are JSON, blank where there are none.
CREATE TABLE bench_revisions (
    bench_id VARCHAR NOT NULL,
    revision INTEGER NOT NULL,
    "action" VARCHAR NOT NULL,
    "by" VARCHAR,
    reason VARCHAR,
    made_at TIMESTAMP NOT NULL,
    tag VARCHAR NOT NULL,
    contributor VARCHAR NOT NULL,
    sessions VARCHAR NOT NULL,
    readings VARCHAR NOT NULL,
    stop VARCHAR NOT NULL,
    stop_cleared VARCHAR NOT NULL,
    estimates VARCHAR NOT NULL,
    demand VARCHAR NOT NULL,
    heat_run VARCHAR NOT NULL
);

CREATE VIEW latest_bench AS
SELECT *, min(made_at) OVER (PARTITION BY bench_id) AS begun_at FROM bench_revisions
QUALIFY row_number() OVER (PARTITION BY bench_id ORDER BY revision DESC, made_at DESC) = 1;
