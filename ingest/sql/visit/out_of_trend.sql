UPDATE visit SET in_trend = FALSE WHERE visit_id = ?
