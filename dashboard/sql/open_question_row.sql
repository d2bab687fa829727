-- What an open question is about; no row where it was answered.
SELECT table_name, row_key, code FROM question WHERE question_id = ? AND status = 'open';
