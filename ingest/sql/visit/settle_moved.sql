-- A visit given to another unit: what was asked of its mileage, unit and pump in the wrong one is settled.
UPDATE question
SET status = 'corrected', answer = $answer, answered_by = $by, answered_at = $at, unit = $unit,
    answered_after = (SELECT coalesce(max(id), 0) FROM last_id WHERE table_name = 'change_log')
WHERE table_name = 'visit' AND row_key = $row_key AND status = 'open'
  AND (code LIKE 'odometer-%' OR code IN ('other-unit', 'similar-unit', 'between-pumps', 'outside-pump-life', 'probe-factor', 'pressure-unit', 'delivery-unit', 'temperature-unit', 'speed-unit'));
