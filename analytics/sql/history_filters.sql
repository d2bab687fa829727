-- Work up to the as-of date (parameter 1), by unit and day.
SELECT unit, done_on - DATE '1970-01-01' AS day, odometer_km, work
FROM service
WHERE done_on <= coalesce(CAST(? AS DATE), DATE '9999-12-31')
ORDER BY unit, day
