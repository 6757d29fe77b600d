-- Which revisions came with somebody's bundle, and from which: a row for each record and merge.
CREATE TABLE merges (
    record_id VARCHAR NOT NULL,
    first_revision INTEGER NOT NULL,
    last_revision INTEGER NOT NULL,
    bundle VARCHAR NOT NULL,
    content VARCHAR NOT NULL,
    licence VARCHAR,
    "by" VARCHAR,
    made_at TIMESTAMP NOT NULL
);

-- The licence under which the register is handed out; the last counts.
CREATE TABLE licences (licence VARCHAR NOT NULL, made_at TIMESTAMP NOT NULL);
