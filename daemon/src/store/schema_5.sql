-- What shade that is known takes, and so no part of the expected power; NULL: none, or from before
-- this was told.
ALTER TABLE inverter_slot ADD COLUMN shade_ac_power_w REAL;
