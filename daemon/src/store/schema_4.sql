-- What figures of performance need beside power and light; NULL: not measured, not told, or from
-- before this was stored.
ALTER TABLE slot ADD COLUMN air_temperature_degc REAL;
ALTER TABLE slot ADD COLUMN wind_speed_m_s REAL;
ALTER TABLE inverter_slot ADD COLUMN producing INTEGER CHECK (producing IN (0, 1));
