-- An answer stands for the row as it came with it: it isn't asked again for what this load has changed.
UPDATE question
SET answered_after = $after
FROM carried_questions c
WHERE question.table_name = c.table_name AND question.row_key = c.row_key
  AND question.field IS NOT DISTINCT FROM c.field AND question.code = c.code
  AND question.status IN ('confirmed', 'dismissed') AND c.status = question.status
