-- Units by number with their last odometer and visit, `$find` anywhere in unit, VIN or model; one page of them.
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
  AND ($depot IS NULL OR c.depot = $depot)
ORDER BY c.unit
LIMIT $rows OFFSET $skip;
