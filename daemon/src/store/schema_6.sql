-- History on a small disk. Single readings stay rows of `reading` for the day and the one after it;
-- then each channel and day becomes one value, and its minutes and hours are made. All are counted
-- by the day of UTC since 1970-01-01. What is in a value: store/history.
CREATE TABLE reading_day (
    day INTEGER NOT NULL,
    channel INTEGER NOT NULL REFERENCES channel (id),
    readings BLOB NOT NULL,
    PRIMARY KEY (day, channel)
) STRICT;

-- By day first: a day of all channels of a device lies together.
CREATE TABLE minute_day (
    day INTEGER NOT NULL,
    channel INTEGER NOT NULL REFERENCES channel (id),
    cells BLOB NOT NULL,
    PRIMARY KEY (day, channel)
) STRICT;

-- By channel first: years of a channel lie together. Kept for ever.
CREATE TABLE hour_day (
    channel INTEGER NOT NULL REFERENCES channel (id),
    day INTEGER NOT NULL,
    cells BLOB NOT NULL,
    PRIMARY KEY (channel, day)
) STRICT, WITHOUT ROWID;

-- Values that the disk has changed, as they were found; work goes on without them.
CREATE TABLE damaged_value (
    at_utc_ms INTEGER NOT NULL,
    day INTEGER NOT NULL,
    channel INTEGER NOT NULL,
    was_in TEXT NOT NULL,
    bytes BLOB NOT NULL
) STRICT;

-- What was done to this file and when; kept for ever. Of a day's thinning one row for each event,
-- and `count` grows.
CREATE TABLE audit (
    id INTEGER PRIMARY KEY,
    at_utc_ms INTEGER NOT NULL,
    event TEXT NOT NULL,
    subject TEXT NOT NULL,
    count INTEGER
) STRICT;
CREATE UNIQUE INDEX audit_by_day ON audit (event, subject) WHERE count IS NOT NULL;
