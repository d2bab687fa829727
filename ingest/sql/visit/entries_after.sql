-- A unit's odometer entries from a day on that lie below a reading: table, odometer column, id, day, km.
SELECT 'visit' AS table_name, 'odometer_km' AS km_column, visit_id AS row_id, visited_on AS day, odometer_km AS km
FROM visit WHERE unit = $unit AND visited_on >= $day AND odometer_km < $km
UNION ALL
SELECT 'service', 'odometer_km', service_id, done_on, odometer_km
FROM service WHERE unit = $unit AND done_on >= $day AND odometer_km < $km
UNION ALL
SELECT 'breakdown', 'odometer_km', breakdown_id, happened_on, odometer_km
FROM breakdown WHERE unit = $unit AND happened_on >= $day AND odometer_km < $km
UNION ALL
SELECT 'pump', 'fitted_odometer_km', pump_id, fitted_on, fitted_odometer_km
FROM pump WHERE unit = $unit AND fitted_on >= $day AND fitted_odometer_km < $km
UNION ALL
SELECT 'pump', 'removed_odometer_km', pump_id, removed_on, removed_odometer_km
FROM pump WHERE unit = $unit AND removed_on >= $day AND removed_odometer_km < $km
ORDER BY ALL
