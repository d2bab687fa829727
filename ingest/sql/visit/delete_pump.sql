DELETE FROM pump WHERE pump_id = ?;
