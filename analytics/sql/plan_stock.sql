-- Parts in stock that may be fitted: none of a type on hold, unless the depot's stock was looked at and is good.
SELECT s.depot, s.pump_type, CASE WHEN h.hold_id IS NULL OR EXISTS (
    SELECT 1 FROM hold_closed c
    WHERE c.hold_id = h.hold_id AND c.depot = s.depot AND c.outcome IN ('checked', 'not_affected')
) THEN s.on_hand ELSE 0 END AS on_hand
FROM stock s
LEFT JOIN (
    SELECT pump_type, min(hold_id) AS hold_id FROM hold WHERE lot IS NULL AND lifted_on IS NULL GROUP BY pump_type
) h ON h.pump_type = s.pump_type
