-- Positions where two units both have a recorded pump in service.
SELECT a.position
FROM pump a
JOIN pump b ON b.unit = $into AND b.position = a.position AND b.removed_on IS NULL
WHERE a.unit = $unit AND a.removed_on IS NULL
  AND (a.fitted_on IS NOT NULL OR a.serial IS NOT NULL)
  AND NOT EXISTS (
    SELECT 1 FROM question q WHERE q.table_name = 'pump' AND q.code = 'implied-pump'
      AND q.row_key IN (CAST(a.pump_id AS VARCHAR), CAST(b.pump_id AS VARCHAR)));
