-- What a hold ($hold_id) is on: pumps that were in service on its first day or later, and stock by depot, each
-- with how it was done with. A pump taken off is done with; a later change of a line's row counts.
WITH h AS (SELECT * FROM hold WHERE hold_id = $hold_id),
closed AS (
    SELECT c.* FROM hold_closed c WHERE c.hold_id = $hold_id
    QUALIFY row_number() OVER (PARTITION BY c.pump_id, c.depot ORDER BY c.closed_id DESC) = 1
),
newest AS (SELECT unit, max(visited_on) AS last_visited_on FROM visit WHERE NOT withdrawn GROUP BY unit)
SELECT
    h.hold_id, v.depot, 'pump' AS what, p.unit, p.position, p.pump_id, p.pump_type, p.serial, p.lot, p.fitted_on,
    n.last_visited_on, CAST(NULL AS INTEGER) AS on_hand,
    coalesce(c.outcome, CASE WHEN p.removed_on IS NOT NULL THEN 'changed' END) AS outcome,
    coalesce(c.closed_on, p.removed_on) AS closed_on, c.closed_by, c.note
FROM h
JOIN pump p ON p.pump_type = h.pump_type AND (h.lot IS NULL OR p.lot = h.lot)
LEFT JOIN vehicle v ON v.unit = p.unit
LEFT JOIN newest n ON n.unit = p.unit
LEFT JOIN closed c ON c.pump_id = p.pump_id
WHERE p.removed_on IS NULL OR p.removed_on >= h.held_on
UNION ALL BY NAME
SELECT
    h.hold_id, s.depot, 'stock' AS what, CAST(NULL AS VARCHAR) AS unit, CAST(NULL AS VARCHAR) AS position,
    CAST(NULL AS BIGINT) AS pump_id, s.pump_type, CAST(NULL AS VARCHAR) AS serial, h.lot,
    CAST(NULL AS DATE) AS fitted_on, CAST(NULL AS DATE) AS last_visited_on, s.on_hand, c.outcome, c.closed_on,
    c.closed_by, c.note
FROM h
JOIN stock s ON s.pump_type = h.pump_type
LEFT JOIN closed c ON c.pump_id IS NULL AND c.depot = s.depot
WHERE s.on_hand > 0 OR c.closed_id IS NOT NULL
ORDER BY depot NULLS LAST, what, unit, position
