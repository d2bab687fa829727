-- Bytes of files that need not be read again.
SELECT t.file_hash FROM tray t
WHERE t.status IN ('waiting', 'dropped')
   OR (t.status = 'stored' AND t.visit_id IN (SELECT visit_id FROM visit WHERE NOT withdrawn));
