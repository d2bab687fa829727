-- Every odometer reading the ledger holds of a unit (NULL: of all), of whatever table; `confirmed`: a person vouched for it.
WITH vouched AS (
    SELECT DISTINCT table_name, row_key, field FROM question
    WHERE status IN ('confirmed', 'dismissed') AND code LIKE 'odometer-%'
),
readings AS (
    SELECT 'visit' AS table_name, visit_id::VARCHAR AS row_key, 'odometer' AS field, unit,
           visited_on AS read_on, odometer_km
    FROM visit WHERE NOT withdrawn
    UNION ALL
    SELECT 'odometer', concat_ws(' ', unit, read_on::VARCHAR, source), 'odometer', unit, read_on, odometer_km
    FROM odometer WHERE source = 'reading'
    UNION ALL
    SELECT 'service', service_id::VARCHAR, 'odometer', unit, done_on, odometer_km FROM service
    UNION ALL
    SELECT 'breakdown', breakdown_id::VARCHAR, 'odometer', unit, happened_on, odometer_km FROM breakdown
    UNION ALL
    SELECT 'pump', pump_id::VARCHAR, 'fitted_odometer', unit, fitted_on, fitted_odometer_km FROM pump
    UNION ALL
    SELECT 'pump', pump_id::VARCHAR, 'removed_odometer', unit, removed_on, removed_odometer_km FROM pump
)
SELECT r.*, v.row_key IS NOT NULL AS confirmed
FROM readings r
LEFT JOIN vouched v USING (table_name, row_key, field)
WHERE r.odometer_km IS NOT NULL AND r.read_on IS NOT NULL AND (CAST($unit AS VARCHAR) IS NULL OR r.unit = $unit)
