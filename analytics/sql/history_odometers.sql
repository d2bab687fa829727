-- Odometer points of each unit that may be trusted, up to the as-of date (parameter 1), by unit and day.
-- After a cluster change only visits count: their odometer is already put on one scale.
WITH asked AS (SELECT coalesce(CAST(? AS DATE), DATE '9999-12-31') AS as_of),
points AS (
    SELECT unit, visited_on AS read_on, odometer_km, hours FROM visit WHERE in_trend AND NOT withdrawn
    UNION ALL
    SELECT unit, read_on, odometer_km, NULL FROM odometer
    WHERE unit NOT IN (
        SELECT unit FROM odometer, asked WHERE source = 'cluster-replaced' AND read_on <= asked.as_of
    )
    UNION ALL
    SELECT unit, fitted_on, fitted_odometer_km, fitted_hours FROM pump WHERE fitted_on IS NOT NULL
    UNION ALL
    SELECT unit, removed_on, removed_odometer_km, removed_hours FROM pump WHERE removed_on IS NOT NULL
)
SELECT unit, read_on - DATE '1970-01-01' AS day, max(odometer_km) AS odometer_km, max(hours) AS hours
FROM points, asked
WHERE read_on <= asked.as_of AND (odometer_km IS NOT NULL OR hours IS NOT NULL)
GROUP BY unit, day
ORDER BY unit, day
