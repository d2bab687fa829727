-- A unit of which nothing is known but its name, and that nothing refers to any more; one row or none.
SELECT c.unit
FROM vehicle c
WHERE c.unit = $unit
  AND coalesce(c.vin, c.make, c.model, c.engine, c.class, c.depot, c.ref) IS NULL
  AND coalesce(c.in_service_on, c.records_from, c.retires_on) IS NULL
  AND coalesce(c.pm_interval_km, c.pm_interval_days, c.pm_interval_hours, c.job_hours, c.year) IS NULL
  AND NOT EXISTS (SELECT 1 FROM change_log g WHERE g.table_name = 'vehicle' AND g.row_key = c.unit)
  AND NOT EXISTS (SELECT 1 FROM pump p WHERE p.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM visit v WHERE v.unit = c.unit AND NOT v.withdrawn)
  AND NOT EXISTS (SELECT 1 FROM service s WHERE s.unit = c.unit AND (s.visit_id IS NULL
        OR s.visit_id NOT IN (SELECT visit_id FROM visit WHERE withdrawn)))
  AND NOT EXISTS (SELECT 1 FROM breakdown b WHERE b.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM odometer o WHERE o.unit = c.unit)
  AND NOT EXISTS (SELECT 1 FROM due_work d WHERE d.unit = c.unit)
  AND (EXISTS (SELECT 1 FROM question q WHERE q.table_name = 'vehicle' AND q.row_key = c.unit AND q.code = 'unknown-unit')
    OR EXISTS (SELECT 1 FROM question q WHERE q.table_name = 'visit' AND q.unit = c.unit AND q.code = 'unit-new'));
