INSERT INTO capture (
    capture_hash, file_name, channel, sample_rate_hz, samples, start_s, stored_as, scale_a, offset_a,
    captured_at, notes, recorded_at
)
SELECT
    $capture_hash, $file_name, $channel, $sample_rate_hz, $samples, $start_s, $stored_as, $scale_a, $offset_a,
    $captured_at, $notes, $recorded_at
WHERE NOT EXISTS (SELECT 1 FROM capture WHERE capture_hash = $capture_hash);
