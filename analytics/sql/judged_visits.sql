-- The visits asked for (table `asked`: visit_id), as the trade rules need them.
SELECT
    visit_id, pump_id, pump_type, unit, visited_on, odometer_km, reason, state, in_trend, origin, method_version,
    mean_a, mean_a_se, clamp, rpm, ripple_pct, raw_ripple_pct, sparks_per_s, zero_a, zero_checked, duty_pct,
    commanded, distance_on_pump_km, segment_profile_pct, speed_steadiness_pct, sample_rate_hz,
    -- Of the notes only those that a rule asks for: whole ones of a large fleet are slow to bring over.
    array_to_string(list_filter(
        ['"code": "clipped"', '"code": "speed-not-followed"', '"code": "current-flat"', '"code": "ripple-untold"',
            '"variant": "irregular"', '"variant": "too-slow"', '"variant": "foreign"'],
        lambda asked_for: contains(CAST(reading_notes AS VARCHAR), asked_for)), ' ') AS reading_notes,
    supply_v, supply_v_at, drop_supply_v, drop_ground_v, fuel_pressure_kpa, delivery_l_min, delivery_at,
    pressure_hold_kpa, fuel_level_pct, fuel_temp_c, fuel_in_tank,
    filter_state, strainer, hose, regulator, connector, check_result, closes, ref, note,
    motor, supply, fuel, current_low_a, current_high_a, spec_at_v, spec_at_kpa, ripple_limit_pct, rpm_low, rpm_high,
    rated_pressure_kpa, min_delivery_l_min, filter, filter_changed_on, system_v, pm_interval_days,
    pm_interval_km, clock
FROM visit_detail
WHERE visit_id IN (SELECT visit_id FROM asked)
