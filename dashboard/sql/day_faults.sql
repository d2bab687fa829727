-- Visits that became known after an instant ($since, UTC), the newest of each pump: by its reason a fault was seen, or
-- its pump is one of those ($idle) that stand or don't do their work.
SELECT v.unit, v.position, c.depot, v.visited_on, v.reason, v.pump_id, v.recorded_at
FROM visit v
LEFT JOIN vehicle c USING (unit)
WHERE v.recorded_at > $since AND NOT v.withdrawn AND ($depot IS NULL OR c.depot = $depot)
    AND (v.reason IN ('complaint', 'road-call') OR list_contains($idle, v.pump_id))
QUALIFY row_number() OVER (PARTITION BY v.unit, v.position, v.pump_id ORDER BY v.visited_on DESC, v.visit_id DESC) = 1
ORDER BY v.visited_on DESC, v.unit
