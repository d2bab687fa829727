-- A pump with its type and vehicle, as in visit_detail.
SELECT
    p.pump_id, p.position, p.pump_type, p.serial, p.run_share, p.fitted_on, p.fitted_odometer_km,
    t.motor, t.supply, t.fuel, t.segments, t.poles, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.min_delivery_l_min, t.filter,
    c.system_v, c.clock, c.pm_interval_days, c.pm_interval_km
FROM pump p
LEFT JOIN pump_type t USING (pump_type)
LEFT JOIN vehicle c USING (unit)
WHERE p.pump_id = ?;
