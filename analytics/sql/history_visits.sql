-- Every reading up to the as-of date with what analytics needs of it, in order of pump and clock.
-- Parameter 1: as-of date, NULL for all.
SELECT
    v.visit_id, v.pump_id, v.visited_on - DATE '1970-01-01' AS day,
    v.odometer_km, v.hours, v.in_trend, v.reason, coalesce(v.state, '') AS state,
    coalesce(CAST(round_even(v.duty_pct / 5, 0) AS INTEGER), -1) AS duty_step,
    coalesce(r.mean_a, v.meter_a) AS mean_a,
    -- Switching shows as ripple on PWM below full duty, and sparks in the plain highest minus lowest.
    CASE WHEN t.supply = 'pwm' AND coalesce(v.duty_pct, 0) < 95 THEN NULL ELSE r.ripple_pct END AS ripple_pct,
    r.rpm,
    r.mean_a IS NULL OR r.origin = 'meter' AS by_meter,
    v.supply_v, v.fuel_pressure_kpa, v.fuel_temp_c
FROM visit v
JOIN pump p USING (pump_id)
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN current_reading r USING (visit_id)
WHERE NOT v.withdrawn AND v.visited_on <= coalesce(CAST(? AS DATE), DATE '9999-12-31')
ORDER BY v.pump_id, v.visited_on, v.visit_id
