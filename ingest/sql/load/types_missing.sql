-- Pump types that pumps name and no row describes, with the first such pump.
SELECT p.pump_type, min(p.pump_id)
FROM pump p ANTI JOIN pump_type t USING (pump_type)
GROUP BY 1
ORDER BY 2
