-- A visit without any current that says the same.
SELECT visit_id, pump_id, unit, visited_on
FROM visit
WHERE unit = $unit AND position = $position AND visited_on = $visited_on AND NOT withdrawn
  AND capture_hash IS NULL AND meter_a IS NULL AND odometer_km IS NOT DISTINCT FROM $odometer_km
  AND reason = $reason
  AND check_result IS NOT DISTINCT FROM $check_result AND closes IS NOT DISTINCT FROM $closes
  AND filter_state IS NOT DISTINCT FROM $filter_state AND strainer IS NOT DISTINCT FROM $strainer
  AND hose IS NOT DISTINCT FROM $hose AND regulator IS NOT DISTINCT FROM $regulator
  AND connector IS NOT DISTINCT FROM $connector
  AND fuel_pressure_kpa IS NOT DISTINCT FROM $fuel_pressure_kpa
  AND pressure_hold_kpa IS NOT DISTINCT FROM $pressure_hold_kpa
  AND delivery_l_min IS NOT DISTINCT FROM $delivery_l_min
  AND supply_v IS NOT DISTINCT FROM $supply_v
LIMIT 1;
