-- Units narrowed by depot, class and the pump type in place, `$find` anywhere in unit, VIN, make or model.
-- One page of them in the order asked for; `found` is how many there are.
SELECT
    c.unit, c.depot, c.class, c.year, c.make, c.model, c.engine, c.vin,
    last.odometer_km AS last_odometer_km, last.visited_on AS last_visited_on,
    c.pm_interval_km, c.pm_interval_days, c.job_hours, c.retires_on,
    count(*) OVER () AS found
FROM vehicle c
LEFT JOIN (
    SELECT unit, max(visited_on) AS visited_on, max_by(odometer_km, visited_on) AS odometer_km
    FROM visit WHERE NOT withdrawn GROUP BY unit
) last ON last.unit = c.unit
WHERE ($find = '' OR concat_ws(' ', c.unit, c.vin, c.make, c.model) ILIKE '%' || $find || '%')
  AND (len($depots::VARCHAR[]) = 0 OR list_contains($depots::VARCHAR[], c.depot))
  AND (len($classes::VARCHAR[]) = 0 OR list_contains($classes::VARCHAR[], c.class))
  AND (len($types::VARCHAR[]) = 0 OR c.unit IN (
        SELECT unit FROM pump WHERE removed_on IS NULL AND list_contains($types::VARCHAR[], pump_type)))
ORDER BY
    CASE $order
        WHEN 'longest unseen' THEN coalesce(epoch(last.visited_on), -1e12)
        WHEN 'most driven' THEN -coalesce(last.odometer_km, -1)
        WHEN 'oldest' THEN coalesce(c.year, 9999)
        ELSE 0
    END,
    c.unit
LIMIT $rows OFFSET $skip;
