SELECT visit_id, meter_a
FROM visit
WHERE unit = $unit AND position = $position AND visited_on = $visited_on AND NOT withdrawn
  AND capture_hash IS NULL AND meter_a IS NOT NULL
ORDER BY visit_id DESC LIMIT 1;
