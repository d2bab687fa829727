-- Readings kept out of the trend that became known after an instant ($since, UTC).
SELECT v.unit, v.position, c.depot, v.visited_on, v.technician
FROM visit v
LEFT JOIN vehicle c USING (unit)
WHERE v.recorded_at > $since AND NOT v.withdrawn AND NOT v.in_trend AND ($depot IS NULL OR c.depot = $depot)
ORDER BY v.visited_on, v.unit
