-- Averages measured with a clamp beside the median of the same pump's earlier ones in the same engine state. One
-- whose odometer alone is in doubt was measured with that clamp all the same.
WITH asked AS (
    SELECT row_key, code FROM question WHERE table_name = 'visit' AND status = 'open'
), averages AS (
    SELECT v.visit_id, v.pump_id, v.clamp, v.visited_on, coalesce(v.state, '') AS state, v.in_trend,
        v.in_trend OR (CAST(v.visit_id AS VARCHAR) IN (SELECT row_key FROM asked WHERE code LIKE 'odometer-%')
            AND CAST(v.visit_id AS VARCHAR) NOT IN (SELECT row_key FROM asked WHERE code NOT LIKE 'odometer-%'))
            AS measured,
        coalesce(r.mean_a, v.meter_a) AS mean_a
    FROM visit v
    LEFT JOIN current_reading r USING (visit_id)
    WHERE NOT v.withdrawn AND coalesce(r.mean_a, v.meter_a) > 0
)
SELECT a.visit_id, a.clamp, a.visited_on, a.mean_a, median(b.mean_a) AS level_a
FROM averages a
JOIN averages b ON b.pump_id = a.pump_id AND b.state = a.state AND b.visited_on < a.visited_on AND b.in_trend
WHERE a.clamp IS NOT NULL AND a.measured AND ($since IS NULL OR a.visited_on >= $since)
GROUP BY ALL
ORDER BY a.visit_id;
