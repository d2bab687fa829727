SELECT max(unit) FROM pump WHERE pump_id = ?
