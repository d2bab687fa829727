-- Files of this name that were taken in with other samples, the longest first, with the visit of one stored.
SELECT t.tray_id, t.status, t.capture_hash, c.samples, c.sample_rate_hz, v.visit_id,
    coalesce(v.unit, t.unit) AS unit, v.capture_hash AS visit_capture
FROM tray t
JOIN capture c USING (capture_hash)
LEFT JOIN visit v ON v.visit_id = t.visit_id AND NOT v.withdrawn
WHERE t.file_name = $file_name AND t.capture_hash <> $capture_hash
    AND (t.status IN ('waiting', 'dropped') OR v.capture_hash IS NOT NULL)
ORDER BY c.samples DESC, t.tray_id DESC;
