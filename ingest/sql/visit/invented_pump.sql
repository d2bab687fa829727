-- A pump that was added because a visit named it, and that nothing else speaks of any more; one row or none.
SELECT p.unit, 'pump ' || p.pump_type || coalesce(', serial ' || p.serial, '') || ' in position ' || p.position AS said
FROM pump p
WHERE p.pump_id = $pump_id
  AND NOT EXISTS (SELECT 1 FROM visit v WHERE v.pump_id = p.pump_id AND NOT v.withdrawn)
  AND NOT EXISTS (SELECT 1 FROM booking b WHERE b.pump_id = p.pump_id)
  AND NOT EXISTS (SELECT 1 FROM pump n WHERE n.continues_pump_id = p.pump_id)
  AND p.ref IS NULL AND p.lot IS NULL AND p.fitted_odometer_km IS NULL AND p.found IS NULL
  AND NOT EXISTS (  -- nobody has changed it since
    SELECT 1 FROM change_log c WHERE c.table_name = 'pump' AND c.row_key = CAST(p.pump_id AS VARCHAR))
  AND EXISTS (
    SELECT 1 FROM question q
    WHERE (q.table_name = 'pump' AND q.code = 'implied-pump' AND q.row_key = CAST(p.pump_id AS VARCHAR))
       OR (q.table_name = 'visit' AND q.code IN ('unit-new', 'position-new', 'pump-new')
           AND q.row_key IN (SELECT CAST(v.visit_id AS VARCHAR) FROM visit v WHERE v.pump_id = p.pump_id
               UNION ALL
               SELECT c.row_key FROM change_log c WHERE c.table_name = 'visit' AND c.field = 'pump_id'
                 AND c.old_value = CAST(p.pump_id AS VARCHAR))));
