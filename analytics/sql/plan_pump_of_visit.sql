-- The pump and day of a visit (parameter 1), where no later visit of that pump is on record.
SELECT v.pump_id, v.visited_on FROM visit v
WHERE v.visit_id = ? AND NOT EXISTS (
    SELECT 1 FROM visit w WHERE w.pump_id = v.pump_id AND w.visited_on > v.visited_on AND NOT w.withdrawn
)
