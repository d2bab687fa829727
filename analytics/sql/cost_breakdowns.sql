-- Breakdowns by year and depot up to the as-of date (parameter 1).
SELECT
    year(b.happened_on) AS year, coalesce(c.depot, '') AS depot, count(*) AS breakdowns,
    count(*) FILTER (WHERE b.pump_confirmed = 'yes') AS pump_confirmed, sum(b.cost) AS cost
FROM breakdown b
LEFT JOIN vehicle c USING (unit)
WHERE b.happened_on <= ?
GROUP BY ALL ORDER BY ALL
