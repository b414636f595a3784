-- What people answered to a finding: that they have seen it, that it may wait until a time, a note.
-- Nothing is ever changed or taken out here: the latest that is no note counts. Times are UTC.
CREATE TABLE response (
    id INTEGER PRIMARY KEY,
    finding TEXT NOT NULL,
    at_utc_ms INTEGER NOT NULL,
    who TEXT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('acknowledged', 'snoozed', 'note')),
    until_utc_ms INTEGER,
    text TEXT NOT NULL
) STRICT;
CREATE INDEX response_of ON response (finding, id);

-- When somebody works on a device, or on the whole site (device NULL).
CREATE TABLE maintenance (
    id INTEGER PRIMARY KEY,
    device TEXT,
    from_utc_ms INTEGER NOT NULL,
    to_utc_ms INTEGER NOT NULL CHECK (from_utc_ms < to_utc_ms),
    at_utc_ms INTEGER NOT NULL,
    who TEXT NOT NULL,
    reason TEXT NOT NULL
) STRICT;
