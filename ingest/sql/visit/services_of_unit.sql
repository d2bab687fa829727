SELECT service_id FROM service WHERE unit = ?;
