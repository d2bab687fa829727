-- The level of the pump fitted in a position on a day: the median of its averages, else its specification.
WITH fitted AS (
    SELECT pump_id, pump_type FROM pump
    WHERE unit = $unit AND position = $position
      AND coalesce(fitted_on, DATE '0001-01-01') <= $visited_on
      AND coalesce(removed_on, DATE '9999-12-31') >= $visited_on
    ORDER BY fitted_on LIMIT 1
),
averages AS (  -- the newest reading of each of its visits
    SELECT coalesce(r.mean_a, v.meter_a) AS mean_a
    FROM visit v
    JOIN fitted USING (pump_id)
    LEFT JOIN reading r USING (visit_id)
    WHERE v.in_trend AND NOT v.withdrawn
    QUALIFY row_number() OVER (
        PARTITION BY v.visit_id ORDER BY r.method_version DESC, r.reading_id DESC
    ) = 1
)
SELECT coalesce(
    (SELECT median(mean_a) FROM averages WHERE mean_a > 0),
    (SELECT (t.current_low_a + t.current_high_a) / 2 FROM pump_type t WHERE t.pump_type = f.pump_type)
) AS level_a
FROM fitted f
