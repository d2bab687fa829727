-- The visits of a pump up to a day.
SELECT * FROM visit_detail WHERE pump_id = ? AND visited_on <= ?
