SELECT visit_id, unit, visited_on FROM visit ORDER BY visit_id DESC LIMIT 1;
