-- The pump and day of a visit (parameter 1).
SELECT pump_id, visited_on FROM visit WHERE visit_id = ? AND NOT withdrawn
