-- What has been read, expected and found at one site. Times are UTC, units end the names.
-- A NULL number means "there was none"; no column holds NaN.

-- Numbers of channels, planes and inverters are this file's own. The name is what counts, so
-- editing the site file never relabels what was stored before.
CREATE TABLE channel (id INTEGER PRIMARY KEY, address TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE plane (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE inverter (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;

-- quality: 0 good, 1 out of range, 2 missing; the smaller is the better. A number, because this
-- table is most of the file and a 0 takes no room.
CREATE TABLE reading (
    channel INTEGER NOT NULL REFERENCES channel (id),
    at_utc_ms INTEGER NOT NULL,
    value REAL,
    quality INTEGER NOT NULL CHECK (quality IN (0, 1, 2)),
    PRIMARY KEY (channel, at_utc_ms),
    CHECK ((quality = 2) = (value IS NULL))
) STRICT, WITHOUT ROWID;

CREATE TABLE slot (start_utc_ms INTEGER PRIMARY KEY, span_ms INTEGER NOT NULL) STRICT;

CREATE TABLE plane_slot (
    start_utc_ms INTEGER NOT NULL REFERENCES slot (start_utc_ms) ON DELETE CASCADE,
    plane INTEGER NOT NULL REFERENCES plane (id),
    poa_w_m2 REAL,
    weather_rung TEXT,
    cell_temperature_degc REAL,
    PRIMARY KEY (start_utc_ms, plane),
    CHECK ((poa_w_m2 IS NULL) = (weather_rung IS NULL))
) STRICT, WITHOUT ROWID;

CREATE TABLE inverter_slot (
    start_utc_ms INTEGER NOT NULL REFERENCES slot (start_utc_ms) ON DELETE CASCADE,
    inverter INTEGER NOT NULL REFERENCES inverter (id),
    ac_power_w REAL,
    expected_ac_power_w REAL,
    PRIMARY KEY (start_utc_ms, inverter)
) STRICT, WITHOUT ROWID;

-- The four expected columns are NULL together: there was no weather.
CREATE TABLE input_slot (
    start_utc_ms INTEGER NOT NULL REFERENCES slot (start_utc_ms) ON DELETE CASCADE,
    inverter INTEGER NOT NULL REFERENCES inverter (id),
    input INTEGER NOT NULL,
    dc_voltage_v REAL,
    dc_current_a REAL,
    expected_dc_voltage_v REAL,
    expected_dc_current_a REAL,
    expected_dc_voltage_sigma_v REAL,
    expected_dc_current_sigma_a REAL,
    gate TEXT NOT NULL,
    PRIMARY KEY (start_utc_ms, inverter, input)
) STRICT, WITHOUT ROWID;

-- The columns are for queries; finding_json is the whole of it.
CREATE TABLE finding (
    id TEXT PRIMARY KEY,
    device TEXT NOT NULL,
    input INTEGER,
    string TEXT,
    kind TEXT NOT NULL,
    severity TEXT NOT NULL,
    began_utc_ms INTEGER NOT NULL,
    found_utc_ms INTEGER NOT NULL,
    ended_utc_ms INTEGER,
    finding_json TEXT NOT NULL
) STRICT;
CREATE INDEX finding_by_beginning ON finding (began_utc_ms);

-- Where the engine stood after the last step. One row.
CREATE TABLE engine_state (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    version INTEGER NOT NULL,
    state BLOB NOT NULL
) STRICT;
