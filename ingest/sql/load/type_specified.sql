-- What a pump type is specified at is on record now: nothing is left to ask of it.
UPDATE question
SET status = 'corrected', answered_by = $by, answered_at = $at
WHERE status = 'open' AND code = 'unknown-pump-type' AND table_name = 'pump'
  AND row_key IN (SELECT pump_id::VARCHAR FROM pump WHERE pump_type = $pump_type)
  AND EXISTS (
    SELECT 1 FROM pump_type t
    WHERE t.pump_type = $pump_type AND (t.current_low_a IS NOT NULL OR t.current_high_a IS NOT NULL)
  );
