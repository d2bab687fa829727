INSERT INTO capture (
    capture_hash, file_name, channel, sample_rate_hz, samples, start_s, stored_as, scale_a, offset_a,
    captured_at, notes, recorded_at
) VALUES (
    $capture_hash, $file_name, $channel, $sample_rate_hz, $samples, $start_s, $stored_as, $scale_a, $offset_a,
    $captured_at, $notes, $recorded_at
) ON CONFLICT DO NOTHING;
