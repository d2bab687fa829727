-- Every pump life with its vehicle and the specification of its type. An interval of 0 is none.
SELECT
    p.pump_id, p.unit, p.position, p.pump_type, p.serial, p.lot, coalesce(p.run_share, 1) AS run_share,
    coalesce(p.prior_distance_km, 0) AS prior_km,
    p.fitted_on - DATE '1970-01-01' AS fitted_day, p.fitted_odometer_km, p.fitted_hours,
    p.removed_on - DATE '1970-01-01' AS removed_day, p.removed_odometer_km, p.removed_hours,
    p.removal, p.found,
    c.class, c.depot, coalesce(c.system_v, 12) AS system_v, coalesce(c.clock, 'distance') AS clock,
    c.in_service_on - DATE '1970-01-01' AS in_service_day, c.records_from - DATE '1970-01-01' AS records_day,
    c.retires_on - DATE '1970-01-01' AS retires_day,
    CASE WHEN c.pm_interval_km > 0 THEN c.pm_interval_km END AS pm_interval_km,
    CASE WHEN c.pm_interval_days > 0 THEN c.pm_interval_days END AS pm_interval_days,
    CASE WHEN c.pm_interval_hours > 0 THEN c.pm_interval_hours END AS pm_interval_hours,
    t.current_low_a, t.current_high_a, t.rpm_low, t.rpm_high, t.ripple_limit_pct, t.rated_pressure_kpa,
    coalesce(t.motor, 'brushed') AS motor
FROM pump p
LEFT JOIN vehicle c USING (unit)
LEFT JOIN pump_type t USING (pump_type)
ORDER BY p.pump_id
