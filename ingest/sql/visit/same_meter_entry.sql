SELECT visit_id, pump_id, unit, visited_on
FROM visit
WHERE unit = $unit AND position = $position AND visited_on = $visited_on AND NOT withdrawn
  AND capture_hash IS NULL AND meter_a = $meter_a AND odometer_km IS NOT DISTINCT FROM $odometer_km
LIMIT 1;
