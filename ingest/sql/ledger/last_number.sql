SELECT id FROM last_id WHERE table_name = ?
