-- Close what was asked about a visit's odometer.
UPDATE question
SET status = 'corrected', answer = 'cluster replaced', answered_by = $by, answered_at = $at
WHERE table_name = 'visit' AND row_key = $row_key AND status = 'open' AND code LIKE 'odometer-%'
