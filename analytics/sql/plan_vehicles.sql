-- Every unit with its last PM stop and hours a day up to the as-of date (parameter 1, three times). An interval of 0 is none.
SELECT
    c.unit, c.vin, c.make, c.model, c.year, c.class, coalesce(c.depot, '') AS depot, c.retires_on, c.job_hours,
    CASE WHEN c.pm_interval_km > 0 THEN c.pm_interval_km END AS pm_interval_km,
    CASE WHEN c.pm_interval_days > 0 THEN c.pm_interval_days END AS pm_interval_days,
    CASE WHEN c.pm_interval_hours > 0 THEN c.pm_interval_hours END AS pm_interval_hours,
    pm.last_pm_on, h.hours_per_day
FROM vehicle c
LEFT JOIN (
    SELECT unit, max(visited_on) AS last_pm_on
    FROM visit WHERE reason = 'pm' AND NOT withdrawn AND visited_on <= ? GROUP BY unit
) pm USING (unit)
LEFT JOIN (
    SELECT unit, (max(hours) - min(hours)) / nullif(max(visited_on) - min(visited_on), 0) AS hours_per_day
    FROM visit WHERE hours IS NOT NULL AND NOT withdrawn AND in_trend AND visited_on <= ? GROUP BY unit
) h USING (unit)
WHERE c.in_service_on IS NULL OR c.in_service_on <= ?
ORDER BY c.unit
