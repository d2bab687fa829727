-- One pump with its type and unit.
SELECT
    p.*, c.depot, c.class, c.make, c.model, c.year, c.pm_interval_km, c.pm_interval_days,
    t.motor, t.supply, t.segments, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.filter, t.price, t.lead_time_days
FROM pump p
LEFT JOIN vehicle c ON c.unit = p.unit
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
WHERE p.pump_id = $pump_id;
