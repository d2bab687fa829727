-- Pumps taken off since a day that nobody has claimed for, of types with a warranty; none moved or found good.
SELECT p.pump_id, c.depot, p.unit, p.position, p.pump_type, p.serial, p.lot, p.removed_on, p.removal, p.found
FROM pump p
JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN vehicle c ON c.unit = p.unit
WHERE p.removed_on >= $since AND (t.warranty_months IS NOT NULL OR t.warranty_distance_km IS NOT NULL)
    AND p.removal IN ('failed', 'on_condition') AND coalesce(p.found, '') <> 'tested_good'
    AND NOT EXISTS (SELECT 1 FROM claim_step s WHERE s.pump_id = p.pump_id)
    AND NOT EXISTS (SELECT 1 FROM pump n WHERE n.continues_pump_id = p.pump_id)
ORDER BY p.removed_on DESC, p.pump_id
