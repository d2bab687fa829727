-- Pump types with their specification and how many are in service.
SELECT t.*, count(p.pump_id) FILTER (p.removed_on IS NULL) AS in_service, count(p.pump_id) AS lives
FROM pump_type t LEFT JOIN pump p ON p.pump_type = t.pump_type
GROUP BY ALL ORDER BY t.pump_type;
