-- How many carried questions are open here that were answered there, and the last change.
SELECT count(*), (SELECT coalesce(max(change_id), 0) FROM change_log) FROM question
JOIN carried_questions c ON question.table_name = c.table_name AND question.row_key = c.row_key
  AND question.field IS NOT DISTINCT FROM c.field AND question.code = c.code
WHERE question.status = 'open' AND c.status <> 'open'
