-- Visits of one pump that were withdrawn, with who did it and why, newest first.
SELECT v.visit_id, v.visited_on, v.odometer_km, coalesce(r.mean_a, v.meter_a) AS mean_a, v.technician,
    l.changed_by, l.reason
FROM visit v
LEFT JOIN (
    SELECT visit_id, arg_max(mean_a, reading_id) AS mean_a FROM reading
    WHERE visit_id IN (SELECT visit_id FROM visit WHERE pump_id = $pump_id AND withdrawn) GROUP BY visit_id
) r USING (visit_id)
LEFT JOIN (
    SELECT row_key, arg_max(changed_by, change_id) AS changed_by, arg_max(reason, change_id) AS reason
    FROM change_log WHERE table_name = 'visit' AND field = 'withdrawn' GROUP BY row_key
) l ON l.row_key = v.visit_id::VARCHAR
WHERE v.pump_id = $pump_id AND v.withdrawn
ORDER BY v.visited_on DESC, v.visit_id DESC;
