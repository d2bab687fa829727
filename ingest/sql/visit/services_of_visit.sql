SELECT service_id FROM service WHERE visit_id = ?;
