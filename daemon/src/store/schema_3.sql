-- What a morning has shown of an inverter's insulation; kept for ever, so that a fall over months is
-- not lost with the engine's state.
CREATE TABLE insulation_morning (
    inverter TEXT NOT NULL,
    at_utc_ms INTEGER NOT NULL,
    log10_ohm REAL, -- NULL where only the ground-fault bit was seen
    is_wet INTEGER, -- NULL where nothing told
    temperature_degc REAL,
    is_low INTEGER NOT NULL,
    lost_min INTEGER NOT NULL,
    PRIMARY KEY (inverter, at_utc_ms)
) STRICT, WITHOUT ROWID;
