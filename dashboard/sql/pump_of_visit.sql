-- The pump a visit belongs to.
SELECT pump_id FROM visit WHERE visit_id = $visit_id AND NOT withdrawn;
