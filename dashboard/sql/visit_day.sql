SELECT unit, visited_on FROM visit WHERE visit_id = ?
