-- What a booking of one pump (parameter 1) is held against.
SELECT
    p.unit, p.position, p.removed_on, v.retires_on, coalesce(v.depot, '') AS depot, p.pump_type, v.job_hours,
    t.lead_time_days, p.fitted_on
FROM pump p
LEFT JOIN vehicle v USING (unit)
LEFT JOIN pump_type t USING (pump_type)
WHERE p.pump_id = ?
