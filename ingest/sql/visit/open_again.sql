-- Ask a question again whose answer was taken back.
UPDATE question SET status = 'open', answer = NULL, answered_by = NULL, answered_at = NULL, details = $details
WHERE question_id = $question_id;
