-- The pumps of a unit, and whether each was recorded rather than taken to be there.
SELECT p.pump_id, NOT EXISTS (
    SELECT 1 FROM question q WHERE q.table_name = 'pump' AND q.row_key = CAST(p.pump_id AS VARCHAR) AND q.code = 'implied-pump'
) AS recorded
FROM pump p WHERE p.unit = ? ORDER BY p.pump_id;
