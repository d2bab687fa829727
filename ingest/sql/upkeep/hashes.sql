SELECT capture_hash FROM capture ORDER BY 1
