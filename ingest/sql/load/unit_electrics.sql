-- A unit's system voltage and the rated pressure of the pump in service.
SELECT c.system_v, any_value(t.rated_pressure_kpa)
FROM vehicle c
LEFT JOIN pump p ON p.unit = c.unit AND p.removed_on IS NULL
LEFT JOIN pump_type t USING (pump_type)
WHERE c.unit = ?
GROUP BY c.system_v
