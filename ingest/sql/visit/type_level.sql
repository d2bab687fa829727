-- Median over pumps of each pump's median average current, by type and engine state, up to a day.
-- A pulsed supply below full duty tells nothing of the level; the type 'unknown' is no type.
SELECT pump_type, state, median(mean_a) AS type_a, count(*) AS type_pumps
FROM (
    SELECT pump_type, coalesce(state, '') AS state, pump_id, median(mean_a) AS mean_a
    FROM visit_detail
    WHERE pump_type IN (SELECT unnest($types::VARCHAR[])) AND pump_type <> 'unknown'
      AND visited_on <= $until AND in_trend AND (supply <> 'pwm' OR duty_pct >= 95)
    GROUP BY ALL
    HAVING median(mean_a) IS NOT NULL
)
GROUP BY ALL
