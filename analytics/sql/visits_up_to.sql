-- The visits of a visit's pump up to and including it.
SELECT h.* FROM visit_detail h JOIN visit_detail v USING (pump_id)
WHERE v.visit_id = ? AND (h.visited_on, h.visit_id) <= (v.visited_on, v.visit_id)
ORDER BY h.visited_on, h.visit_id
