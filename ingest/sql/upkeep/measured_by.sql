-- Visits whose capture was measured by this method or a later one.
SELECT DISTINCT visit_id FROM reading WHERE origin = 'capture' AND method_version >= ?;
