-- Close what is still open about a visit that was withdrawn.
UPDATE question
SET status = 'corrected', answer = $answer, answered_by = $by, answered_at = now() AT TIME ZONE 'UTC'
WHERE table_name = 'visit' AND row_key = $row_key AND status = 'open';
