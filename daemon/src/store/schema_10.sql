-- Work on the plant that ended before it was planned to; of work that had not begun, it is called off.
-- What was planned stays as it was; the earliest end counts. Times are UTC.
CREATE TABLE maintenance_end (
    id INTEGER PRIMARY KEY,
    maintenance INTEGER NOT NULL REFERENCES maintenance (id),
    at_utc_ms INTEGER NOT NULL,
    who TEXT NOT NULL
) STRICT;
CREATE INDEX maintenance_end_of ON maintenance_end (maintenance, at_utc_ms);

-- Findings that stand are few among those that there ever were.
CREATE INDEX finding_that_stands ON finding (began_utc_ms) WHERE ended_utc_ms IS NULL;
