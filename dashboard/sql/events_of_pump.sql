-- What was done to the unit while this pump ran, with the pump's own fitting and removal.
WITH life AS (
    SELECT unit, position, pump_type, coalesce(fitted_on, DATE '1900-01-01') AS from_on, fitted_on,
        coalesce(removed_on, DATE '9999-12-31') AS to_on, removed_on, removal, found,
        fitted_odometer_km, removed_odometer_km
    FROM pump WHERE pump_id = $pump_id
)
SELECT s.done_on AS happened_on, s.odometer_km, s.work AS event, s.note
FROM service s JOIN life USING (unit)
WHERE s.done_on BETWEEN life.from_on AND life.to_on
UNION ALL
SELECT b.happened_on, b.odometer_km, 'breakdown', concat_ws('; ', 'pump ' || b.pump_confirmed, b.note)
FROM breakdown b JOIN life USING (unit)
WHERE b.happened_on BETWEEN life.from_on AND life.to_on AND coalesce(b.position, life.position) = life.position
UNION ALL
SELECT fitted_on, fitted_odometer_km, 'pump fitted', pump_type FROM life WHERE fitted_on IS NOT NULL
UNION ALL
SELECT removed_on, removed_odometer_km, 'pump removed', replace(concat_ws(', found ', removal, found), '_', ' ')
FROM life WHERE removed_on IS NOT NULL
ORDER BY happened_on, event;
