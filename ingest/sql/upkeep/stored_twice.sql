-- The same thing stored more than once: (what, which visits or readings).
SELECT 'capture ' || capture_hash[:12] || '… in visits ' || string_agg(visit_id::VARCHAR, ', ' ORDER BY visit_id)
FROM visit WHERE capture_hash IS NOT NULL AND NOT withdrawn
GROUP BY capture_hash HAVING count(*) > 1
UNION ALL
SELECT 'visit ' || visit_id || ' measured by method ' || method_version || ' in readings '
       || string_agg(reading_id::VARCHAR, ', ' ORDER BY reading_id)
FROM reading WHERE origin = 'capture'
GROUP BY visit_id, method_version, capture_hash HAVING count(*) > 1
ORDER BY ALL;
