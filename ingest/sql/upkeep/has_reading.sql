-- Whether a visit's capture was measured by this method or a later one.
SELECT 1 FROM reading WHERE visit_id = ? AND origin = 'capture' AND method_version >= ?
