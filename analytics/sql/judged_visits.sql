-- The visits asked for (table `asked`: visit_id), as the trade rules need them. {visits}: as for history_visits.
SELECT
    visit_id, pump_id, pump_type, unit, visited_on, odometer_km, reason, state, in_trend, origin, method_version,
    mean_a, mean_a_se, clamp, rpm, ripple_pct, raw_ripple_pct, sparks_per_s, zero_a, zero_checked, duty_pct,
    commanded, distance_on_pump_km, segment_profile_pct, speed_steadiness_pct, sample_rate_hz,
    -- Of the notes only those that a rule asks for: whole ones of a large fleet are slow to bring over.
    array_to_string(list_filter(
        ['"code": "clipped"', '"code": "pwm-found"', '"code": "speed-undecided"',
            '"code": "sampled-too-slowly"', '"code": "speed-not-followed"', '"code": "current-flat"', '"code": "ripple-untold"',
            '"code": "segments-contradicted"', '"variant": "far"', '"variant": "irregular"', '"variant": "too-slow"', '"variant": "foreign"'],
        lambda asked_for: contains(CAST(reading_notes AS VARCHAR), asked_for)), ' ') AS reading_notes,
    supply_v, supply_v_at, drop_supply_v, drop_ground_v, fuel_pressure_kpa, delivery_l_min, delivery_at,
    pressure_hold_kpa, fuel_level_pct, fuel_temp_c, fuel_in_tank,
    filter_state, strainer, hose, regulator, connector, check_result, closes, ref, note,
    -- What a specification or an interval ends at or asks for is never 0: there it is not told.
    motor, supply, fuel, current_low_a, nullif(current_high_a, 0) AS current_high_a, nullif(spec_at_v, 0) AS spec_at_v,
    spec_at_kpa, nullif(ripple_limit_pct, 0) AS ripple_limit_pct, rpm_low, nullif(rpm_high, 0) AS rpm_high,
    nullif(rated_pressure_kpa, 0) AS rated_pressure_kpa, nullif(min_delivery_l_min, 0) AS min_delivery_l_min,
    filter, filter_changed_on, system_v, nullif(pm_interval_days, 0) AS pm_interval_days,
    nullif(pm_interval_km, 0) AS pm_interval_km, clock
FROM {visits}
WHERE visit_id IN (SELECT visit_id FROM asked)
