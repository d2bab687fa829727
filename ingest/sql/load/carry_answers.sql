-- What the ledger that keeps a row has answered, for questions that are still open here.
UPDATE question
SET status = c.status, answer = c.answer, answered_by = c.answered_by, answered_at = c.answered_at,
    answered_after = $after
FROM carried_questions c
WHERE question.table_name = c.table_name AND question.row_key = c.row_key
  AND question.field IS NOT DISTINCT FROM c.field AND question.code = c.code
  AND question.status = 'open' AND c.status <> 'open'
