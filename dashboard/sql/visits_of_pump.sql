-- All visits of one pump, oldest first.
SELECT * FROM visit_detail WHERE pump_id = $pump_id ORDER BY visited_on, visit_id;
