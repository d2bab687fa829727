-- All visits of one pump, oldest first, with the columns of visit_detail. Its readings are picked out before
-- the newest of each visit is sought: the view would sort every reading of the fleet first.
WITH mine AS (
    SELECT * FROM visit WHERE pump_id = $pump_id AND NOT withdrawn
),
newest AS (
    SELECT * FROM reading WHERE visit_id IN (SELECT visit_id FROM mine)
    QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY method_version DESC, reading_id DESC) = 1
)
SELECT
    v.* EXCLUDE (odometer_entered, odometer_unit, time_zone, fuel, motor, supply, segments, poles), v.fuel AS fuel_in_tank,
    p.prior_distance_km + CASE WHEN v.odometer_km < p.fitted_odometer_km THEN 0
        ELSE v.odometer_km - p.fitted_odometer_km END * p.run_share AS distance_on_pump_km,
    v.hours - p.fitted_hours AS hours_on_pump,
    coalesce(r.mean_a, v.meter_a) AS mean_a,
    r.* EXCLUDE (reading_id, visit_id, capture_hash, mean_a, segments, notes, recorded_at),
    r.segments AS segments_found, r.notes AS reading_notes,
    p.pump_type, p.serial, p.lot, p.run_share, p.fitted_on, p.fitted_odometer_km, p.removed_on, p.removal,
    coalesce(v.motor, t.motor) AS motor, coalesce(v.supply, t.supply) AS supply, t.fuel,
    coalesce(v.segments, t.segments) AS segments, coalesce(v.poles, t.poles) AS poles, t.current_low_a, t.current_high_a, t.spec_at_v, t.spec_at_kpa,
    t.ripple_limit_pct, t.rpm_low, t.rpm_high, t.rated_pressure_kpa, t.min_delivery_l_min, t.filter,
    c.make, c.model, c.year, c.class, c.depot, c.system_v, c.clock, c.pm_interval_days, c.pm_interval_km,
    (SELECT max(s.done_on) FROM service s
      WHERE s.unit = v.unit AND s.work = 'filter' AND s.done_on <= v.visited_on) AS filter_changed_on
FROM mine v
JOIN pump p USING (pump_id)
LEFT JOIN newest r USING (visit_id)
LEFT JOIN pump_type t ON t.pump_type = p.pump_type
LEFT JOIN vehicle c ON c.unit = v.unit
ORDER BY v.visited_on, v.visit_id;
