-- Parts of one type (parameter 2) in stock at a depot (parameter 1); none where the type is on hold.
SELECT CASE WHEN EXISTS (
    SELECT 1 FROM hold h
    WHERE h.pump_type = s.pump_type AND h.lot IS NULL AND h.lifted_on IS NULL AND NOT EXISTS (
        SELECT 1 FROM hold_closed c
        WHERE c.hold_id = h.hold_id AND c.depot = s.depot AND c.outcome IN ('checked', 'not_affected')
    )
) THEN 0 ELSE s.on_hand END AS on_hand
FROM stock s WHERE s.depot = ? AND s.pump_type = ?
