-- Work done and breakdowns, newest first, narrowed by unit, depot, class, pump type in place and kind; one page.
WITH entry AS (
    SELECT unit, done_on AS happened_on, work AS kind, odometer_km, NULL AS cost, note, 's' || service_id AS entry_id
    FROM service
    UNION ALL
    SELECT unit, happened_on, 'breakdown', odometer_km, cost,
        concat_ws('; ', 'pump to blame: ' || pump_confirmed, note), 'b' || breakdown_id
    FROM breakdown
)
SELECT e.unit, c.depot, c.class, e.happened_on, e.kind, e.odometer_km, e.cost, e.note, count(*) OVER () AS found
FROM entry e LEFT JOIN vehicle c USING (unit)
WHERE ($find = '' OR e.unit ILIKE '%' || $find || '%')
  AND (len($depots::VARCHAR[]) = 0 OR list_contains($depots::VARCHAR[], c.depot))
  AND (len($classes::VARCHAR[]) = 0 OR list_contains($classes::VARCHAR[], c.class))
  AND (len($types::VARCHAR[]) = 0 OR e.unit IN (
        SELECT unit FROM pump WHERE removed_on IS NULL AND list_contains($types::VARCHAR[], pump_type)))
  AND (len($kinds::VARCHAR[]) = 0 OR list_contains($kinds::VARCHAR[], e.kind))
ORDER BY e.happened_on DESC, e.entry_id DESC LIMIT $rows OFFSET $skip;
