-- Files that wait in the tray, those whose unit is told first, then the oldest; one page of them.
SELECT
    t.tray_id, t.status, t.file_name, t.unit, t.position, t.matched_by, t.reason, t.captured_on, t.clamp,
    t.entry, t.mean_a, t.ripple_pct, t.rpm, t.picture, t.recorded_at,
    date_diff('day', CAST(t.recorded_at AS DATE), CAST(now() AT TIME ZONE 'UTC' AS DATE)) AS age_days,
    count(*) OVER () AS found
FROM tray t
WHERE t.status IN ('waiting', 'refused')
  AND ($find = '' OR t.file_name ILIKE '%' || $find || '%' OR t.unit ILIKE '%' || $find || '%')
ORDER BY t.status = 'refused', t.unit IS NULL, t.recorded_at, t.tray_id
LIMIT $rows OFFSET $skip;
