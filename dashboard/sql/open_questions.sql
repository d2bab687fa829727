-- Open questions, oldest first, with the visit they concern; narrowed by kind, part of a unit's number, depot,
-- class and the pump type in place; one page of them.
SELECT
    q.question_id, q.raised_at, q.unit, c.depot, c.class, q.table_name, q.row_key, q.field, q.code, q.details, q.text,
    v.visit_id, v.pump_id, v.visited_on, v.technician, NOT v.in_trend AS kept_out, count(*) OVER () AS found
FROM question q
LEFT JOIN vehicle c ON c.unit = q.unit
LEFT JOIN visit v ON q.table_name = 'visit' AND v.visit_id = try_cast(q.row_key AS BIGINT) AND NOT v.withdrawn
WHERE q.status = 'open'
  AND ($code IS NULL OR q.code = $code)
  AND ($find = '' OR q.unit ILIKE '%' || $find || '%')
  AND (len($depots::VARCHAR[]) = 0 OR list_contains($depots::VARCHAR[], c.depot))
  AND (len($classes::VARCHAR[]) = 0 OR list_contains($classes::VARCHAR[], c.class))
  AND (len($types::VARCHAR[]) = 0 OR q.unit IN (
        SELECT unit FROM pump WHERE removed_on IS NULL AND list_contains($types::VARCHAR[], pump_type)))
ORDER BY q.raised_at, q.question_id
LIMIT $rows OFFSET $skip;
