-- Where these samples, or a file of these bytes, are already. A refusal stands until the file can be read.
SELECT t.tray_id, coalesce(v.visit_id, t.visit_id) AS visit_id, coalesce(v.unit, t.unit) AS unit, t.status
FROM (SELECT $capture_hash AS capture_hash, $file_hash AS file_hash) a
LEFT JOIN visit v ON NOT v.withdrawn
    AND v.visit_id IN (
        SELECT visit_id FROM visit WHERE capture_hash = $capture_hash
        UNION
        SELECT visit_id FROM reading WHERE capture_hash = $capture_hash
    )
LEFT JOIN tray t ON (t.capture_hash = a.capture_hash OR t.file_hash = a.file_hash)
    AND CASE t.status
        WHEN 'refused' THEN a.capture_hash IS NULL
        WHEN 'stored' THEN t.visit_id IN (SELECT visit_id FROM visit WHERE NOT withdrawn)
        ELSE TRUE
    END
WHERE v.visit_id IS NOT NULL OR t.tray_id IS NOT NULL
LIMIT 1;
