-- Close one question with its answer.
UPDATE question
SET status = $status, answer = $answer, answered_by = $by, answered_at = $at,
    answered_after = (SELECT coalesce(max(id), 0) FROM last_id WHERE table_name = 'change_log')
WHERE question_id = $question_id;
