-- Raise a question for a person, unless the same one is open.
INSERT INTO question (question_id, raised_at, table_name, row_key, unit, field, code, details, text)
SELECT $question_id, $at, $table_name, $row_key, $unit, $field, $code, $details, $text
WHERE NOT EXISTS (
    SELECT 1 FROM question
    WHERE table_name = $table_name AND row_key = $row_key AND code = $code AND status = 'open'
);
