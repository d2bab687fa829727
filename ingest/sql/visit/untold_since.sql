-- Notes of the captures since the pump's speed was last told in this engine state, in order.
SELECT reading_notes
FROM visit_rows($pump_id)
WHERE in_trend AND state IS NOT DISTINCT FROM $state AND visited_on <= $visited_on
  AND (visited_on > $told_on OR visited_on = $told_on AND visit_id > $told_at)
  AND rpm IS NULL AND origin = 'capture'
ORDER BY visited_on, visit_id;
