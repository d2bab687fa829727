DELETE FROM service WHERE service_id = ?;
