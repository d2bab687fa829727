-- The pump fitted in a position on a day, and the middle of its type's specification.
SELECT p.pump_id, (t.current_low_a + t.current_high_a) / 2 AS level_a
FROM pump p
LEFT JOIN pump_type t USING (pump_type)
WHERE p.unit = $unit AND p.position = $position
  AND coalesce(p.fitted_on, DATE '0001-01-01') <= $visited_on
  AND coalesce(p.removed_on, DATE '9999-12-31') >= $visited_on
ORDER BY p.fitted_on LIMIT 1
