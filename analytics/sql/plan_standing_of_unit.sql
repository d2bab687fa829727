-- Pumps of a unit (parameter 1), at one position where it is given (parameter 2, or NULL), whose newest decision
-- books or pins them.
SELECT pump_id
FROM (
    SELECT pump_id, status, row_number() OVER (PARTITION BY pump_id ORDER BY booking_id DESC) AS nth FROM booking
)
JOIN pump USING (pump_id)
WHERE nth = 1 AND status IN ('booked', 'pinned') AND unit = $1 AND position = coalesce($2, position)
ORDER BY pump_id
