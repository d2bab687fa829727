-- All visits of one pump, oldest first, with the columns of visit_detail.
SELECT * FROM visit_rows($pump_id) ORDER BY visited_on, visit_id;
