-- Readings measured elsewhere (or by a meter) that differ from the last of their kind for the visit.
-- What an incoming row leaves blank is taken over from that last one, and a speed that a person has put right.
WITH last AS (
    SELECT * FROM reading
    WHERE origin IN ('elsewhere', 'meter')
    QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY reading_id DESC) = 1
),
put_right AS (
    SELECT row_key, arg_max(try_cast(old_value AS DOUBLE), change_id) AS was_rpm
    FROM change_log
    WHERE table_name = 'reading' AND field = 'rpm'
    GROUP BY row_key
),
fresh AS (
    SELECT n.* REPLACE (CASE WHEN abs(n.rpm / c.was_rpm - 1) < 1e-9 THEN k.rpm ELSE n.rpm END AS rpm)
    FROM fresh_readings n
    LEFT JOIN last k USING (visit_id)
    LEFT JOIN put_right c ON c.row_key = CAST(k.reading_id AS VARCHAR)
)
SELECT
    f.place, f.visit_id, f.origin, f.method_version, f.recorded_at,
    coalesce(f.mean_a, l.mean_a) AS mean_a,
    coalesce(f.mean_a_se, l.mean_a_se) AS mean_a_se,
    coalesce(f.ripple_pct, l.ripple_pct) AS ripple_pct,
    coalesce(f.ripple_pct_se, l.ripple_pct_se) AS ripple_pct_se,
    coalesce(f.rpm, l.rpm) AS rpm,
    coalesce(f.rpm_se, l.rpm_se) AS rpm_se,
    coalesce(f.min_a, l.min_a) AS min_a,
    coalesce(f.max_a, l.max_a) AS max_a,
    coalesce(f.ripple_a, l.ripple_a) AS ripple_a,
    CASE WHEN l.visit_id IS NOT NULL
         THEN concat_ws(', ', 'mean_a ' || l.mean_a, 'ripple_pct ' || l.ripple_pct, 'rpm ' || l.rpm)
    END AS old_values
FROM fresh f
LEFT JOIN last l USING (visit_id)
WHERE l.visit_id IS NULL
   OR (f.mean_a IS NOT NULL AND f.mean_a IS DISTINCT FROM l.mean_a)
   OR (f.mean_a_se IS NOT NULL AND f.mean_a_se IS DISTINCT FROM l.mean_a_se)
   OR (f.ripple_pct IS NOT NULL AND f.ripple_pct IS DISTINCT FROM l.ripple_pct)
   OR (f.ripple_pct_se IS NOT NULL AND f.ripple_pct_se IS DISTINCT FROM l.ripple_pct_se)
   OR (f.rpm IS NOT NULL AND f.rpm IS DISTINCT FROM l.rpm)
   OR (f.rpm_se IS NOT NULL AND f.rpm_se IS DISTINCT FROM l.rpm_se)
   OR (f.min_a IS NOT NULL AND f.min_a IS DISTINCT FROM l.min_a)
   OR (f.max_a IS NOT NULL AND f.max_a IS DISTINCT FROM l.max_a)
   OR (f.ripple_a IS NOT NULL AND f.ripple_a IS DISTINCT FROM l.ripple_a)
