-- Questions about clamps whose answer scaled readings, the newest first.
SELECT question_id, table_name, row_key, unit, field, code, details, answer, answered_by, answered_at
FROM question
WHERE status = 'corrected' AND json_extract(details, '$.scaled') IS NOT NULL
  AND ($question_id IS NULL OR question_id = $question_id)
ORDER BY question_id DESC;
