SELECT DISTINCT visit_id, capture_hash FROM reading WHERE capture_hash IS NOT NULL
