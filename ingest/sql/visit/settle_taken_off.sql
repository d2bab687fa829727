-- The same question about other pumps in the place of this one is settled where none before them is left.
UPDATE question
SET status = 'corrected', answer = $answer, answered_by = $by, answered_at = $at,
    answered_after = (SELECT coalesce(max(id), 0) FROM last_id WHERE table_name = 'change_log')
WHERE code = 'not-removed' AND table_name = 'pump' AND status = 'open'
  AND row_key IN (
    SELECT p.pump_id::VARCHAR FROM pump p
    JOIN pump b ON b.pump_id = $pump_id AND p.unit = b.unit AND p.position = b.position
    WHERE p.pump_id <> b.pump_id AND NOT EXISTS (
        SELECT 1 FROM pump a
        WHERE a.unit = p.unit AND a.position = p.position AND a.removed_on IS NULL AND a.pump_id <> p.pump_id
          AND coalesce(a.fitted_on, DATE '0001-01-01') < p.fitted_on));
