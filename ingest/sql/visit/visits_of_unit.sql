SELECT visit_id, withdrawn FROM visit WHERE unit = ? ORDER BY visited_on, visit_id;
