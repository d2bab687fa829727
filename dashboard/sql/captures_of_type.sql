-- Captures of one pump type that have a speed, newest first, with what came of their pumps.
-- from_last: 1 for the last capture of its pump.
SELECT
    v.visit_id, v.unit, v.position, v.visited_on, v.capture_hash, v.state, r.mean_a, r.ripple_pct, r.rpm, r.revolution_ms,
    r.steady_from_s, r.steady_to_s, p.pump_id, p.removed_on, p.removal, p.found,
    row_number() OVER (PARTITION BY v.pump_id ORDER BY v.visited_on DESC, v.visit_id DESC) AS from_last
FROM visit v
JOIN pump p USING (pump_id)
JOIN current_reading r USING (visit_id)
WHERE p.pump_type = $pump_type AND NOT v.withdrawn AND v.in_trend AND v.capture_hash IS NOT NULL
    AND r.revolution_ms IS NOT NULL AND r.mean_a IS NOT NULL
ORDER BY v.visited_on DESC, v.visit_id DESC
LIMIT 2000;
