-- All visits of the pumps in service, as the trade rules need them; up to the as-of date (parameter 1).
SELECT * FROM visit_detail
WHERE visited_on <= ? AND (removed_on IS NULL OR removed_on > ?)
ORDER BY pump_id, visited_on, visit_id
