-- The visits of a pump (parameters 1 and 2) up to a day; visit_detail would join every pump's.
SELECT * FROM visit_rows(?) WHERE pump_id = ? AND visited_on <= ?
