-- The newest reading of a visit that was not measured here: its number.
SELECT reading_id FROM reading
WHERE visit_id = ? AND origin IN ('elsewhere', 'meter')
ORDER BY reading_id DESC LIMIT 1
