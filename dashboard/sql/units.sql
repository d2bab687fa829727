-- Units by number with their last odometer and visit, `$find` anywhere in unit, VIN or model; one page of them.
WITH page AS (
    SELECT
        unit, depot, class, year, make, model, engine, vin, pm_interval_km, pm_interval_days, job_hours, retires_on,
        count(*) OVER () AS found
    FROM vehicle
    WHERE ($find = '' OR concat_ws(' ', unit, vin, make, model) ILIKE '%' || $find || '%')
      AND ($depot IS NULL OR depot = $depot)
    ORDER BY unit
    LIMIT $rows OFFSET $skip
),
last AS (
    SELECT unit, max(visited_on) AS visited_on, max_by(odometer_km, visited_on) AS odometer_km
    FROM visit WHERE NOT withdrawn AND unit IN (SELECT unit FROM page) GROUP BY unit
)
SELECT
    page.unit, depot, class, year, make, model, engine, vin,
    last.odometer_km AS last_odometer_km, last.visited_on AS last_visited_on,
    pm_interval_km, pm_interval_days, job_hours, retires_on, found
FROM page LEFT JOIN last USING (unit)
ORDER BY page.unit;
