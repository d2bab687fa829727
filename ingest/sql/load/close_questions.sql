-- Open questions of this loader about rows it has just seen, which no longer stand.
UPDATE question
SET status = 'corrected', answered_by = $by, answered_at = $at
WHERE status = 'open'
  AND answer IS NULL
  AND code IN (SELECT code FROM load_codes)
  AND (table_name, row_key) IN (SELECT (table_name, row_key) FROM loaded_rows)
  AND NOT EXISTS (
    SELECT 1 FROM asked a
    WHERE a.table_name = question.table_name AND a.row_key = question.row_key
      AND a.field IS NOT DISTINCT FROM question.field AND a.code = question.code
  )
