-- NULL in rows of version 1, which knew voltage and current alone.
ALTER TABLE input_slot ADD COLUMN expected_dc_power_sigma_w REAL;
