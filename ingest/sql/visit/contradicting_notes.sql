-- Remarks of the newest captures that contradict the segments told of a pump type.
SELECT r.notes
FROM visit AS v
JOIN pump AS p USING (pump_id)
JOIN current_reading AS r USING (visit_id)
WHERE p.pump_type = $pump_type AND v.segments IS NULL AND r.origin = 'capture'
  AND r.notes LIKE '%"segments-contradicted"%'
ORDER BY v.visit_id DESC
LIMIT 50;
