UPDATE last_id SET id = greatest(id, ?) WHERE table_name = ?
