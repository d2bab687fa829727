-- Booked or pinned work on pumps still in service that is due by a day ($today), the newest decision of each pump.
SELECT p.unit, p.position, c.depot, p.pump_type, b.planned_on, b.decided_by
FROM (
    SELECT * FROM booking QUALIFY row_number() OVER (PARTITION BY pump_id ORDER BY booking_id DESC) = 1
) b
JOIN pump p USING (pump_id)
LEFT JOIN vehicle c USING (unit)
WHERE b.status IN ('booked', 'pinned') AND p.removed_on IS NULL AND b.planned_on <= $today
    AND ($depot IS NULL OR c.depot = $depot)
ORDER BY b.planned_on, p.unit
