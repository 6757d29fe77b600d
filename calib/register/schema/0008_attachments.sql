-- Files attached as evidence to a record or to another thing that the register keeps, a row for each time that one was
-- attached or detached; rows are added and never changed. Times are UTC.
CREATE TABLE attachment_revisions (
    attachment_id VARCHAR NOT NULL,
    revision INTEGER NOT NULL,
    "action" VARCHAR NOT NULL,
    "by" VARCHAR,
    reason VARCHAR,
    made_at TIMESTAMP NOT NULL,
    kind VARCHAR NOT NULL,
    owner VARCHAR NOT NULL,
    name VARCHAR NOT NULL,
    media VARCHAR NOT NULL,
    size BIGINT NOT NULL,
    sha256 VARCHAR NOT NULL
);

CREATE VIEW latest_attachments AS
SELECT * FROM attachment_revisions
QUALIFY row_number() OVER (PARTITION BY attachment_id ORDER BY revision DESC, made_at DESC) = 1;

-- Their content, once for each hash, in parts that are small enough for thousands of them to be read at once.
CREATE TABLE attached_files (sha256 VARCHAR NOT NULL, part INTEGER NOT NULL, content BLOB NOT NULL);
