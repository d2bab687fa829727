-- The last readings of some pumps as lists, oldest first, for the small lines in the risk list.
SELECT
    pump_id,
    list(mean_a ORDER BY visited_on, visit_id) AS currents_a,
    list(rpm ORDER BY visited_on, visit_id) AS speeds_rpm
FROM (
    SELECT pump_id, visited_on, visit_id, mean_a, rpm
    FROM visit_detail
    WHERE list_contains($pump_ids, pump_id) AND in_trend AND mean_a IS NOT NULL
    QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY visited_on DESC, visit_id DESC) <= 12
)
GROUP BY pump_id;
