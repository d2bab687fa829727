SELECT count(*) FROM pump WHERE unit = ? AND position = ?
