-- Work that a person booked or pinned for a day in a month (parameters: first day, last day), as it stood on its
-- day, with what became of the pump.
SELECT b.pump_id, p.unit, p.position, coalesce(c.depot, '') AS depot, b.planned_on, p.removed_on, p.removal
FROM (
    SELECT pump_id, status, planned_on
    FROM booking
    WHERE planned_on IS NULL OR decided_at <= planned_on + INTERVAL 1 DAY
    QUALIFY row_number() OVER (PARTITION BY pump_id, coalesce(planned_on, DATE '1900-01-01')
        ORDER BY booking_id DESC) = 1
) b
JOIN pump p USING (pump_id)
LEFT JOIN vehicle c USING (unit)
WHERE b.status IN ('booked', 'pinned') AND b.planned_on BETWEEN $1 AND $2
ORDER BY b.planned_on, p.unit
