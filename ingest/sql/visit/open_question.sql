-- An open question; no row where it was answered.
SELECT question_id, table_name, row_key, unit, field, code, details FROM question
WHERE question_id = ? AND status = 'open';
