INSERT INTO visit (
    unit, position, pump_id, visited_on, visited_at, time_zone, odometer_km, odometer_entered, odometer_unit,
    hours, reason, state, capture_hash, meter_a, supply_v, drop_supply_v, drop_ground_v, fuel_pressure_kpa,
    delivery_l_min, fuel_temp_c, fuel_level_pct, duty_pct, clamp, clamp_point, technician, note, ref, recorded_at
) VALUES (
    $unit, $position, $pump_id, $visited_on, $visited_at, $time_zone, $odometer_km, $odometer_entered,
    $odometer_unit, $hours, $reason, $state, $capture_hash, $meter_a, $supply_v, $drop_supply_v, $drop_ground_v,
    $fuel_pressure_kpa, $delivery_l_min, $fuel_temp_c, $fuel_level_pct, $duty_pct, $clamp, $clamp_point,
    $technician, $note, $ref, $recorded_at
) RETURNING visit_id;
