-- A visit with what was read at it.
SELECT unit, position, visited_on, odometer_km, mean_a, rpm FROM visit_detail WHERE visit_id = ?
