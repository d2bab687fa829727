-- The pump type of each pump in service in a unit, and whether its current is specified.
SELECT p.pump_type, t.current_low_a IS NOT NULL OR t.current_high_a IS NOT NULL
FROM pump p JOIN pump_type t USING (pump_type)
WHERE p.unit = ? AND p.removed_on IS NULL
ORDER BY 1;
