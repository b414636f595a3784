-- Which limit acts on an inverter as a whole, and on an input alone; NULL: none, or from before
-- this was told.
ALTER TABLE inverter_slot ADD COLUMN acting_limit TEXT;
ALTER TABLE input_slot ADD COLUMN acting_limit TEXT;
