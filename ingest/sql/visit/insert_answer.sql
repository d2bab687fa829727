-- A question that was answered while the entry was made.
INSERT INTO question (
    question_id, raised_at, table_name, row_key, unit, field, code, details, text, status, answer, answered_by, answered_at,
    answered_after
) VALUES ($question_id, $at, 'visit', $row_key, $unit, $field, $code, $details, $text, 'confirmed', $answer, $answered_by, $at,
    (SELECT coalesce(max(id), 0) FROM last_id WHERE table_name = 'change_log'));
