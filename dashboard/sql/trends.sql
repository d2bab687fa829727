-- The last readings of every pump in service as lists, oldest first, for the small lines in the risk list.
SELECT pump_id, list(mean_a ORDER BY visited_on, visit_id) AS currents_a
FROM (
    SELECT v.pump_id, v.visited_on, v.visit_id, coalesce(r.mean_a, v.meter_a) AS mean_a
    FROM visit v
    JOIN pump p USING (pump_id)
    LEFT JOIN current_reading r USING (visit_id)
    WHERE p.removed_on IS NULL AND v.in_trend AND NOT v.withdrawn AND coalesce(r.mean_a, v.meter_a) IS NOT NULL
    QUALIFY row_number() OVER (PARTITION BY v.pump_id ORDER BY v.visited_on DESC, v.visit_id DESC) <= 12
)
GROUP BY pump_id;
