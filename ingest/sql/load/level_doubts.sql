-- Average currents about so many times, or such a part of, the pump's own level (else its type's specification).
WITH levels AS (
    SELECT
        visit_id, mean_a,
        (current_low_a + current_high_a) / 2 AS specified_a,
        median(mean_a) OVER (
            PARTITION BY pump_id ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING
        ) AS own_a,
        count(mean_a) OVER (PARTITION BY pump_id) AS n
    FROM visit_detail
    WHERE mean_a > 0
)
SELECT visit_id, mean_a, CASE WHEN n >= 3 THEN own_a ELSE specified_a END AS level_a
FROM levels
WHERE greatest(mean_a / level_a, level_a / mean_a) BETWEEN $least_times AND $most_times
