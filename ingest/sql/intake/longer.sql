-- A longer copy of a file takes the place of its beginning; what became of that stands.
UPDATE tray SET file_hash = $file_hash, capture_hash = $capture_hash, mean_a = $mean_a, ripple_pct = $ripple_pct,
    rpm = $rpm, picture = $picture, probe = $probe, clamp = coalesce($clamp, clamp), recorded_at = $recorded_at
WHERE tray_id = $tray_id;
