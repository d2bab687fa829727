-- Close one question with its answer.
UPDATE question
SET status = $status, answer = $answer, answered_by = $by, answered_at = now() AT TIME ZONE 'UTC'
WHERE question_id = $question_id;
