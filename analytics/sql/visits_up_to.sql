-- The visits of a pump (parameters 1 and 2) up to and including one, by its day and number.
SELECT * FROM visit_rows(?) WHERE pump_id = ? AND (visited_on, visit_id) <= (?, ?)
ORDER BY visited_on, visit_id
