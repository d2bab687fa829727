-- Visits of a pump that belong to the one fitted after it.
SELECT visit_id FROM visit
WHERE pump_id = $pump_id
  AND (visited_on > $removed_on OR (visited_on = $removed_on AND reason = 'after-repair'))
ORDER BY visit_id
