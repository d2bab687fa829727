SELECT max(removed_on) FROM pump WHERE unit = ? AND position = ?
