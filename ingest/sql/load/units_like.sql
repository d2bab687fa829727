-- Units whose readings just before and after that day enclose the odometer, and whose current is alike: the
-- nearest, and what it usually is, as a faulty pump's own current is like that of any other faulty one.
WITH near AS (
    SELECT
        unit,
        max(odometer_km) FILTER (visited_on <= $visited_on) AS km_before,
        max(visited_on) FILTER (visited_on <= $visited_on) AS day_before,
        min(odometer_km) FILTER (visited_on > $visited_on) AS km_after,
        (max(odometer_km) - min(odometer_km)) / greatest(max(visited_on) - min(visited_on), 30) AS km_per_day,
        arg_min(mean_a, abs(visited_on - $visited_on)) FILTER (mean_a > 0) AS mean_a,
        median(mean_a) FILTER (mean_a > 0) AS usual_a,
        arg_min(rpm, abs(visited_on - $visited_on)) FILTER (rpm IS NOT NULL) AS rpm
    FROM visit_detail
    WHERE unit <> $unit AND position = $position AND in_trend AND odometer_km IS NOT NULL
    GROUP BY unit
    HAVING count(*) >= 2
)
SELECT unit
FROM near
WHERE $odometer_km >= km_before - 7 * km_per_day
  AND $odometer_km <= coalesce(km_after, km_before + km_per_day * ($visited_on::DATE - day_before))
                      + 7 * km_per_day
  AND abs(ln(mean_a / $mean_a)) < 0.05
  AND abs(ln(usual_a / $mean_a)) < 0.1
  AND ($rpm IS NULL OR rpm IS NULL OR abs(ln(rpm / $rpm)) < 0.04)
ORDER BY abs(ln(mean_a / $mean_a))
LIMIT 3
