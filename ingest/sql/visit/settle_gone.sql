-- Close what is still open about a row that is no longer there.
UPDATE question
SET status = 'corrected', answer = $answer, answered_by = $by, answered_at = $at,
    answered_after = (SELECT coalesce(max(id), 0) FROM last_id WHERE table_name = 'change_log')
WHERE table_name = $table_name AND row_key = $row_key AND status = 'open';
