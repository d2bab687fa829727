SELECT visit_id, pump_id, unit, visited_on FROM visit WHERE capture_hash = $capture_hash AND NOT withdrawn LIMIT 1;
