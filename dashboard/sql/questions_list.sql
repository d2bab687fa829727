-- Open questions, oldest first, narrowed by kind, unit, depot and class; one page of them.
SELECT
    q.question_id, q.raised_at, q.unit, c.depot, c.class, q.table_name, q.row_key, q.field, q.code, q.text,
    count(*) OVER () AS found
FROM question q LEFT JOIN vehicle c USING (unit)
WHERE q.status = 'open'
  AND ($code IS NULL OR q.code = $code)
  AND ($unit = '' OR q.unit ILIKE '%' || $unit || '%')
  AND (len($depots::VARCHAR[]) = 0 OR list_contains($depots::VARCHAR[], c.depot))
  AND (len($classes::VARCHAR[]) = 0 OR list_contains($classes::VARCHAR[], c.class))
ORDER BY q.raised_at, q.question_id LIMIT $rows OFFSET $skip;
