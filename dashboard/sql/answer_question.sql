-- Close one question with its answer.
UPDATE question
SET status = $status, answer = $answer, answered_by = $by, answered_at = $at
WHERE question_id = $question_id;
