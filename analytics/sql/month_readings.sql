-- Visits with a reading in a month (parameters: first day, last day), by depot: all, and those kept out of the trend.
SELECT coalesce(c.depot, '') AS depot, count(*) AS readings, count(*) FILTER (WHERE NOT v.in_trend) AS in_doubt
FROM visit v
LEFT JOIN vehicle c USING (unit)
WHERE NOT v.withdrawn AND v.visited_on BETWEEN $1 AND $2
    AND (v.meter_a IS NOT NULL OR v.visit_id IN (SELECT visit_id FROM reading))
GROUP BY ALL
