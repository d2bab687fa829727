-- What stands booked at a depot (parameter 1) beside one pump (parameter 2).
SELECT b.planned_on, v.job_hours, p.pump_type, p.unit
FROM (
    SELECT * FROM booking QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY booking_id DESC) = 1
) b
JOIN pump p USING (pump_id)
LEFT JOIN vehicle v USING (unit)
WHERE b.status IN ('booked', 'pinned') AND b.planned_on IS NOT NULL AND p.removed_on IS NULL
    AND coalesce(v.depot, '') = ? AND b.pump_id <> ?
ORDER BY b.planned_on
