-- Holds that stand on a pump of a type and lot.
SELECT * FROM hold
WHERE lifted_on IS NULL AND pump_type = $pump_type AND (lot IS NULL OR lot = $lot)
ORDER BY hold_id
