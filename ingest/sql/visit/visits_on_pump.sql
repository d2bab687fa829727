SELECT visit_id FROM visit WHERE pump_id = ?;
