-- Which limit acts on an inverter as a whole, and on an input alone; NULL: none, or from before
-- this was told.
ALTER TABLE inverter_slot ADD COLUMN acting_limit TEXT;
ALTER TABLE input_slot ADD COLUMN acting_limit TEXT;

-- NULL in rows of version 1, which knew voltage and current alone.
ALTER TABLE input_slot ADD COLUMN expected_dc_power_sigma_w REAL;

-- What was learned of planes and inputs, day by day; kept for ever.
CREATE TABLE learned (
    subject TEXT NOT NULL, -- name of a plane, or inverter/input-n
    quantity TEXT NOT NULL,
    weather_rung TEXT NOT NULL, -- empty where it is the same in any light
    last_solar_day INTEGER NOT NULL,
    value REAL NOT NULL,
    sigma REAL NOT NULL,
    first_solar_day INTEGER NOT NULL,
    days INTEGER NOT NULL,
    baseline_value REAL NOT NULL,
    baseline_sigma REAL NOT NULL,
    baseline_first_solar_day INTEGER NOT NULL,
    baseline_last_solar_day INTEGER NOT NULL,
    baseline_days INTEGER NOT NULL,
    PRIMARY KEY (subject, quantity, weather_rung, last_solar_day)
) STRICT, WITHOUT ROWID;
