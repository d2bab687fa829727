-- A visit that holds these samples, or held them until its clamp's factor was put right.
SELECT visit_id, pump_id, unit, visited_on FROM visit
WHERE NOT withdrawn
    AND (capture_hash = $capture_hash OR visit_id IN (SELECT visit_id FROM reading WHERE capture_hash = $capture_hash))
LIMIT 1;
