-- Visits of a pump after it came off, with the pump that was in its place then.
SELECT v.visit_id, q.pump_id
FROM visit v
JOIN pump p ON p.pump_id = $pump_id AND v.pump_id = p.pump_id
JOIN pump q ON q.unit = p.unit AND q.position = p.position AND q.pump_id <> p.pump_id
    AND q.fitted_on <= v.visited_on AND coalesce(q.removed_on, DATE '9999-12-31') >= v.visited_on
WHERE v.visited_on > p.removed_on
QUALIFY row_number() OVER (PARTITION BY v.visit_id ORDER BY q.fitted_on, q.pump_id) = 1
ORDER BY v.visit_id;
