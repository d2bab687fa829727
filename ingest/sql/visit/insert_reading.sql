INSERT INTO reading (
    reading_id, visit_id, capture_hash, origin, method_version, mean_a, mean_a_se, mean_a_accuracy_a, min_a, max_a, ripple_a, ripple_pct, ripple_pct_se,
    raw_ripple_pct, revolution_ms, rpm, rpm_se, segments, speed_confidence, pattern_repeat_ms, sample_rate_hz,
    duration_s, steady_from_s, steady_to_s, turns, zero_a, inrush_peak_a, settling_ms, segment_profile_pct,
    weakest_segment, weakest_segment_z, strongest_segment, strongest_segment_z, once_per_turn_pct,
    twice_per_turn_pct, sparks_per_s, speed_steadiness_pct, pwm_hz, speed_candidates, notes, recorded_at
) VALUES (
    $reading_id, $visit_id, $capture_hash, $origin, $method_version, $mean_a, $mean_a_se, $mean_a_accuracy_a, $min_a, $max_a, $ripple_a, $ripple_pct, $ripple_pct_se,
    $raw_ripple_pct, $revolution_ms, $rpm, $rpm_se, $segments, $speed_confidence, $pattern_repeat_ms, $sample_rate_hz,
    $duration_s, $steady_from_s, $steady_to_s, $turns, $zero_a, $inrush_peak_a, $settling_ms, $segment_profile_pct,
    $weakest_segment, $weakest_segment_z, $strongest_segment, $strongest_segment_z, $once_per_turn_pct,
    $twice_per_turn_pct, $sparks_per_s, $speed_steadiness_pct, $pwm_hz, $speed_candidates, $notes, $recorded_at
);
