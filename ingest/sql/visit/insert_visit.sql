INSERT INTO visit (
    visit_id, unit, position, pump_id, visited_on, visited_at, time_zone, odometer_km, odometer_entered, odometer_unit,
    hours, reason, state, zero_checked, probe, channel, motor, supply, segments, poles, commanded, fuel,
    capture_hash, meter_a,
    supply_v, supply_v_at, drop_supply_v, drop_ground_v, fuel_pressure_kpa, delivery_l_min, delivery_at,
    pressure_hold_kpa, filter_state, strainer, hose, regulator, connector, check_result, closes,
    fuel_temp_c, fuel_level_pct, duty_pct, clamp, clamp_point, technician, note, ref, recorded_at
) VALUES (
    $visit_id, $unit, $position, $pump_id, $visited_on, $visited_at, $time_zone, $odometer_km, $odometer_entered,
    $odometer_unit, $hours, $reason, $state, $zero_checked, $probe, $channel, $motor, $supply, $segments, $poles,
    $commanded, $fuel, $capture_hash, $meter_a, $supply_v, $supply_v_at, $drop_supply_v, $drop_ground_v, $fuel_pressure_kpa, $delivery_l_min,
    $delivery_at, $pressure_hold_kpa, $filter_state, $strainer, $hose, $regulator, $connector, $check_result,
    $closes, $fuel_temp_c, $fuel_level_pct, $duty_pct, $clamp, $clamp_point,
    $technician, $note, $ref, $recorded_at
);
