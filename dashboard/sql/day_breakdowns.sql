-- Breakdowns that became known after an instant ($since, UTC), with the unit's depot, the
-- latest first.
SELECT b.unit, coalesce(b.position, 'main') AS position, c.depot, b.happened_on, b.pump_confirmed, b.note, b.recorded_at
FROM breakdown b
LEFT JOIN vehicle c USING (unit)
WHERE b.recorded_at > $since AND ($depot IS NULL OR c.depot = $depot)
ORDER BY b.happened_on DESC, b.unit
