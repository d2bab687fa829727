SELECT DISTINCT capture_hash FROM reading WHERE capture_hash IS NOT NULL
