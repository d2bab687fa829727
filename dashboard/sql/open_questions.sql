-- Open questions, oldest first; one page of them.
SELECT question_id, raised_at, unit, table_name, row_key, field, code, text, count(*) OVER () AS found
FROM question
WHERE status = 'open' AND ($code IS NULL OR code = $code) AND ($unit IS NULL OR unit = $unit)
ORDER BY raised_at, question_id
LIMIT $rows OFFSET $skip;
